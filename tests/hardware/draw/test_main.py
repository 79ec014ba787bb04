"""The one command."""

from __future__ import annotations

from pathlib import Path

import pytest

for _library in ("schemdraw", "manifold3d"):
    pytest.importorskip(_library, reason=f"{_library} is not installed: pip install '.[hardware]'")

from hardware.draw.__main__ import main


def test_a_check_of_fresh_files_finds_nothing_and_models_are_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--check", "--no-pictures", "--models", str(tmp_path / "models")]) == 0
    assert "out of date: nothing" in capsys.readouterr().out
    assert len(list((tmp_path / "models").iterdir())) == 22
