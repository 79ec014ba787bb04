from __future__ import annotations

from gettext import NullTranslations

import pytest

from logger.study.tongue import _, in_use, several, speaking


class Shouting(NullTranslations):
    def gettext(self, message: str) -> str:
        return message.upper()

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"{n}!"


def test_english_stands_in_the_code_itself() -> None:
    assert _("the boat") == "the boat"
    assert (several("one", "many", 1), several("one", "many", 2)) == ("one", "many")


def test_inside_another_language_is_spoken_and_outside_not() -> None:
    with speaking(Shouting()):
        assert _("the boat") == "THE BOAT"
        assert several("one", "many", 3) == "3!"
    assert _("the boat") == "the boat"


def test_an_error_leaves_the_language_as_it_was() -> None:
    before = in_use()
    with pytest.raises(RuntimeError, match="stop"), speaking(Shouting()):
        raise RuntimeError("stop")
    assert in_use() is before
