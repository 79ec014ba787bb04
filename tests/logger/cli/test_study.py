from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from logger.cli import DONE, WRONG_INPUT, main
from tests.logger.study.invented_class import sails, write_class


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_class(tmp_path_factory.mktemp("class"))


def test_a_page_for_every_run_a_beginning_and_the_class(folder: Path, tmp_path: Path) -> None:
    assert main(["study", str(folder), "--to", str(tmp_path / "pack"), "--name", "Room 12"]) == DONE
    names = {path.name for path in (tmp_path / "pack").iterdir()}
    assert names >= {"index.html", "s1-r001.html", "s1-r053.html"}
    assert len(names) >= len(list(sails())) + 2
    assert "<h1>Room 12</h1>" in (tmp_path / "pack" / "index.html").read_text(encoding="utf-8")


def test_a_zip_unpacks_into_one_folder_and_is_the_same_every_time(folder: Path, tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        assert main(["study", str(folder), "--to", str(tmp_path / name / "pack.zip"), "--zip"]) == DONE
        made.append((tmp_path / name / "pack.zip").read_bytes())
    assert made[0] == made[1]
    with zipfile.ZipFile(tmp_path / "one" / "pack.zip") as archive:
        assert {Path(name).parts[0] for name in archive.namelist()} == {"pack"}
        assert "pack/index.html" in archive.namelist()


def test_nothing_is_written_over(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "own.txt").write_text("mine", encoding="utf-8")
    assert main(["study", str(folder), "--to", str(tmp_path)]) == WRONG_INPUT
    assert "choose another name" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["own.txt"]


def test_a_folder_without_a_class_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["study", str(tmp_path), "--to", str(tmp_path / "pack")]) == WRONG_INPUT
    assert "there is no trials.sqlite in it" in capsys.readouterr().err
