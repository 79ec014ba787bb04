from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli import main
from logger.study.paper import PAPERS
from logger.study.target_sheets import TARGETS, target_sheets


@pytest.mark.parametrize(
    ("words", "names", "rim", "paper"),
    [
        ([], list(TARGETS), {}, "a4"),
        (["--only", "lens-board", "--paper", "letter"], ["lens-board"], {}, "letter"),
        (
            ["--only", "rim-marks,focus-card", "--rim-numbers", "3,7-8", "--rim-size-mm", "60"],
            ["rim-marks", "focus-card"],
            {"rim_numbers": [3, 7, 8], "rim_size_mm": 60.0},
            "a4",
        ),
    ],
)
def test_what_was_asked_for_is_printed(
    words: list[str], names: list[str], rim: dict, paper: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "some.pdf"
    assert main(["print", "targets", "--to", str(file), *words]) == 0
    assert file.read_bytes() == target_sheets(names, PAPERS[paper], **rim)
    assert "print it at 100 %" in capsys.readouterr().out


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "targets.pdf"
    file.write_text("dear to somebody")
    assert main(["print", "targets", "--to", str(file)]) == 2
    assert "there is such a file already" in capsys.readouterr().err
    assert file.read_text() == "dear to somebody"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--only", "lense"], "print targets: found 'lense'; wanted pages of lens-board"),
        (["--rim-numbers", "600"], "print targets: --rim-numbers: found number 600; wanted 0 to 586"),
        (["--rim-size-mm", "400"], "print targets: found rim marks of 400 mm; wanted 30 to"),
    ],
)
def test_what_cannot_be_is_told_and_leaves_no_file(
    words: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["print", "targets", *words]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_size_that_is_no_length_is_one_line_and_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["print", "targets", "--rim-size-mm", "wide"])
    assert "found 'wide'; wanted a length in mm above 0" in capsys.readouterr().err
