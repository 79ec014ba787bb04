"""The one command."""

from __future__ import annotations

import pytest

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from hardware.draw.__main__ import main


def test_a_check_of_fresh_files_finds_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--check"]) == 0
    assert "out of date: none" in capsys.readouterr().out
