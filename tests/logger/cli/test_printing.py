from __future__ import annotations

from importlib import import_module

import pytest

from logger.cli import main
from logger.cli.printing import SHEETS


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_sheet_has_help_of_its_own(sheet: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["print", sheet, "--help"])
    told = capsys.readouterr().out
    assert told.startswith(f"usage: boatrun print {sheet}")
    first_words = (import_module(f"logger.cli.print_{sheet}").__doc__ or "").split()[:4]
    assert " ".join(first_words) in " ".join(told.split())


def test_the_help_names_every_sheet(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["print", "--help"])
    told = " ".join(capsys.readouterr().out.split())
    assert all(f"{name} {words}" in told for name, words in SHEETS.items())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["print"], "the following arguments are required: WHAT"),
        (["print", "tasg"], "invalid choice: 'tasg'"),
        (["print", "tags", "--numbres", "3"], "there is no option '--numbres'; did you mean '--numbers'?"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
