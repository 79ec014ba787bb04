from __future__ import annotations

from importlib import import_module

import pytest

from logger.cli import main
from logger.cli.calibrate import TARGETS


@pytest.mark.parametrize("target", TARGETS)
def test_every_target_has_help_of_its_own(target: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["calibrate", target, "--help"])
    told = capsys.readouterr().out
    assert told.startswith(f"usage: boatrun calibrate {target}")
    first_words = (import_module(f"logger.cli.calibrate_{target}").__doc__ or "").split()[:4]
    assert " ".join(first_words) in " ".join(told.split())


def test_the_help_names_every_target(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["calibrate", "--help"])
    told = " ".join(capsys.readouterr().out.split())
    assert all(f"{name} {words}" in told for name, words in TARGETS.items())


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["calibrate"], "the following arguments are required: WHAT"),
        (["calibrate", "lihgt"], "invalid choice: 'lihgt'"),
        (["calibrate", "light", "--regoin", "1,2,3"], "there is no option '--regoin'; did you mean '--region'?"),
        (["calibrate", "light", "--seconds", "3"], "found '3'; wanted seconds from 10 to 600"),
        (["calibrate", "light", "--seconds", "soon"], "found 'soon'; wanted seconds"),
        (["calibrate", "light", "--region", "1,2"], "found '1,2'; wanted column,row,half-side"),
        (["calibrate", "light", "--region", "1,2,1"], "found '1,2,1'; wanted column,row,half-side"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
