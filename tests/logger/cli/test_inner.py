from __future__ import annotations

from importlib import import_module

import pytest

from logger.cli import main
from logger.cli.calibrate import TARGETS
from logger.cli.printing import SHEETS

WORDS = {"calibrate": TARGETS, "print": SHEETS}


@pytest.mark.parametrize(("outer", "inner"), [(outer, inner) for outer, names in WORDS.items() for inner in names])
def test_every_inner_command_has_help_of_its_own(outer: str, inner: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([outer, inner, "--help"])
    told = capsys.readouterr().out
    assert told.startswith(f"usage: boatrun {outer} {inner}")
    first_words = (import_module(f"logger.cli.{outer}_{inner}").__doc__ or "").split()[:4]
    assert " ".join(first_words) in " ".join(told.split())


@pytest.mark.parametrize("outer", WORDS)
def test_the_help_names_every_inner_command(outer: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main([outer, "--help"])
    told = " ".join(capsys.readouterr().out.split())
    assert all(f"{name} {words}" in told for name, words in WORDS[outer].items())
