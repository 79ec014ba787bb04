from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli import DONE, WRONG_INPUT, main
from tests.logger.study.invented_class import write_class


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_class(tmp_path_factory.mktemp("class"))


def test_sheets_that_are_wanted_are_made_and_never_over_a_file(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = ["print", "class", str(folder), "--only", "teams,results", "--to", str(tmp_path / "a.pdf")]
    assert main(wanted) == DONE
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    assert main(wanted) == WRONG_INPUT
    assert "a.pdf" in capsys.readouterr().err


def test_which_sheets_there_are(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["print", "class", str(folder), "--list"]) == DONE
    assert "certificates   what each team did best, not only speed" in capsys.readouterr().out


def test_a_sheet_that_is_not_there_is_told(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["print", "class", str(folder), "--only", "medals", "--to", str(tmp_path / "a.pdf")]) == WRONG_INPUT
    assert "wanted sheets of fallback" in capsys.readouterr().err
    assert not (tmp_path / "a.pdf").exists()
