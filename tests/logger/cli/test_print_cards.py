from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli import main


def test_all_cards_are_made_and_never_over_another_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = tmp_path / "lid.pdf"
    assert main(["print", "cards", "--to", str(to)]) == 0
    made = to.read_bytes()
    assert made.startswith(b"%PDF")
    assert main(["print", "cards", "--to", str(to)]) == 2
    assert to.read_bytes() == made
    assert "lid.pdf" in capsys.readouterr().err


def test_one_card_on_letter_paper(tmp_path: Path) -> None:
    whole, one = tmp_path / "whole.pdf", tmp_path / "one.pdf"
    main(["print", "cards", "--to", str(whole)])
    assert main(["print", "cards", "--only", "lesson", "--paper", "letter", "--to", str(one)]) == 0
    assert b"612 792" in one.read_bytes().replace(b".0", b""), "8.5 x 11 inches in points"
    assert len(one.read_bytes()) < len(whole.read_bytes())


@pytest.mark.parametrize("only", ["lessons", ""])
def test_a_card_that_is_not_there_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str], only: str) -> None:
    assert main(["print", "cards", "--only", only, "--to", str(tmp_path / "x.pdf")]) == 2
    assert "wanted cards of set-up, lesson, faults" in capsys.readouterr().err
    assert not (tmp_path / "x.pdf").exists()
