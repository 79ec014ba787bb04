from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli import main
from logger.recording.folder import load


def test_a_recording_and_its_truth_are_written_and_can_be_loaded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = tmp_path / "made"
    assert main(["simulate", "--to", str(to), "--kind", "straight", "--seed", "1003"]) == 0
    folder = to / "easy-straight-1003"
    assert capsys.readouterr().out == f"{folder}\n"
    recording = load(folder)
    assert recording.card.simulated
    assert recording.card.kind == "straight"
    assert (folder / "truth.json").is_file()


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["simulate", "--to", str(tmp_path)]) == 2
    assert "wanted a new or empty folder" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_file_is_not_taken_for_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["simulate", "--to", str(tmp_path / "mine.txt")]) == 2
    assert "this is a file" in capsys.readouterr().err


def test_a_folder_that_cannot_be_made_is_wrong_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(["simulate", "--to", str(tmp_path / "mine.txt" / "below")]) == 2
    assert "cannot be made" in capsys.readouterr().err
