from __future__ import annotations

import re
from gettext import NullTranslations
from importlib.resources import files
from pathlib import Path

import polib
import pytest
from babel.messages.extract import extract_from_dir

from logger.results.columns import COLUMNS, RESULTS
from logger.study import words
from logger.study.experiment import CHANGEABLE
from logger.study.tongue import LANGUAGES, _, catalogue, in_use, several, speaking

PLACE = re.compile(r"\{[\w:.]*\}")
STUDY = Path(str(files("logger.study")))


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


def in_code() -> set[str]:
    """Every sentence of the study pages that is marked for a catalogue, as Babel finds it."""
    found = extract_from_dir(
        str(STUDY), [("**/templates/**.html", "jinja2"), ("**.py", "python")], {},
        keywords={"_": None, "N_": None, "several": (1, 2)},
    )  # fmt: skip
    return {
        message if isinstance(message, str) else message[0]
        for _name, _line, message, _comments, _context in found
    }  # fmt: skip


@pytest.mark.parametrize("code", LANGUAGES[1:])
def test_every_sentence_of_the_study_pages_is_in_every_catalogue(code: str) -> None:
    there = polib.pofile(str(STUDY / "locale" / code / "LC_MESSAGES" / "study.po"))
    said = in_code()
    assert len(said) > 400
    assert sorted(said - {one.msgid for one in there if one.translated() and not one.fuzzy}) == []
    assert sorted({one.msgid for one in there} - said) == [], "no page says these any more: take them out"


@pytest.mark.parametrize("code", LANGUAGES[1:])
def test_the_same_places_are_filled_in_every_language(code: str) -> None:
    for one in polib.pofile(str(STUDY / "locale" / code / "LC_MESSAGES" / "study.po")):
        for said in (one.msgstr, *one.msgstr_plural.values()):
            if said:
                assert sorted(PLACE.findall(said)) == sorted(PLACE.findall(one.msgid)), one.msgid


def test_a_language_that_nobody_wrote_is_english() -> None:
    with speaking(catalogue("xx")):
        assert _("Where is the boat?") == "Where is the boat?"
    with speaking(catalogue("es")):
        assert _("Where is the boat?") == "¿Dónde está el barco?"
        assert several("{runs} run", "{runs} runs", 2) == "{runs} recorridos"


def test_every_result_and_every_condition_of_an_experiment_has_a_name_in_the_catalogues() -> None:
    wanted = {COLUMNS[name].words for name in (*RESULTS, *CHANGEABLE)}
    assert wanted <= set(words.NAMES)
    with speaking(catalogue("es")):
        assert words.name_of("drift_mm") == "deriva"
        assert words.kinds_of_run("drift") == "Recorridos de deriva"
