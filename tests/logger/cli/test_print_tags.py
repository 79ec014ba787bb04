from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli import main
from logger.study.paper import PAPERS
from logger.study.tag_sheet import Wanted, tag_sheets


def made(tmp_path: Path, *words: str) -> bytes:
    file = tmp_path / "some.pdf"
    assert main(["print", "tags", "--to", str(file), *words]) == 0
    return file.read_bytes()


@pytest.mark.parametrize(
    ("words", "wanted", "paper"),
    [
        ([], [Wanted(number, 40.0) for number in range(1, 9)], "a4"),
        (["--numbers", "3,5-6", "--size-mm", "25"], [Wanted(number, 25.0) for number in (3, 5, 6)], "a4"),
        (["--discs", "2", "--size-mm", "30,12.5"], [Wanted(None, 30.0)] * 2 + [Wanted(None, 12.5)] * 2, "a4"),
        (["--discs", "--paper", "letter"], [Wanted(None, 40.0)] * 9, "letter"),
        (["--numbers", "1", "--discs", "1"], [Wanted(1, 40.0), Wanted(None, 40.0)], "a4"),
    ],
)
def test_what_was_asked_for_is_printed(words: list[str], wanted: list[Wanted], paper: str, tmp_path: Path) -> None:
    assert made(tmp_path, *words) == tag_sheets(wanted, PAPERS[paper])


def test_the_file_is_told_and_made_in_the_present_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["print", "tags"]) == 0
    assert capsys.readouterr().out.startswith("tags.pdf: print it at 100 %")
    assert (tmp_path / "tags.pdf").read_bytes().startswith(b"%PDF-")


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "tags.pdf"
    file.write_text("dear to somebody")
    assert main(["print", "tags", "--to", str(file)]) == 2
    assert "there is such a file already" in capsys.readouterr().err
    assert file.read_text() == "dear to somebody"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--numbers", "1-999999"], "print tags: --numbers: found number 999999; wanted 0 to"),
        (["--size-mm", "400"], "print tags: found a square of 400 mm; wanted 10 to"),
        (["--to", "no/such/folder/tags.pdf"], "there is no folder"),
    ],
)
def test_what_cannot_be_is_told_and_leaves_no_file(
    words: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["print", "tags", *words]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--numbers", "5-3"], "found '5-3'; wanted numbers and ranges"),
        (["--numbers", "one"], "found 'one'; wanted numbers and ranges"),
        (["--numbers", ""], "found ''; wanted numbers and ranges"),
        (["--size-mm", "-4"], "found '-4'; wanted lengths in mm above 0"),
        (["--size-mm", "nan"], "found 'nan'; wanted lengths in mm above 0"),
        (["--discs", "0"], "found '0'; wanted a count from 1 to 500"),
        (["--paper", "a5"], "invalid choice: 'a5'"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["print", "tags", *words])
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
