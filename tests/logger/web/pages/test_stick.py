from __future__ import annotations

import io
import zipfile
from pathlib import Path

import openpyxl

from tests.logger.web.conftest import Desk


def name_of(desk: Desk) -> str:
    (folder,) = (desk.folder / "lessons").iterdir()
    return folder.name


def test_one_tap_puts_the_results_on_a_stick_and_notes_the_copy(desk: Desk, tmp_path: Path) -> None:
    (desk.folder / "stick").mkdir()
    desk.begin()
    desk.runs()
    desk.post("/copy/stick", {"lesson": name_of(desk)}, drawn_at="/sofar")
    (copied,) = (desk.folder / "stick").iterdir()
    assert (copied / "tables" / "runs.csv").read_text(encoding="utf-8").count("\n") == 2
    book = openpyxl.load_workbook(copied / "runs.xlsx")
    assert book.worksheets[0].max_row == 2
    for path in copied.rglob("*"):  # FAT32 Specification (Microsoft, 2000), long names: signs and length
        assert not set(path.name) & set('\\/:*?"<>|'), path
        assert not path.name.endswith((".", " ")), path
        assert len(path.name) <= 255, path
    assert "tables →" in desk.get("/stored")
    desk.post("/copy/stick", {"lesson": name_of(desk)}, drawn_at="/sofar")
    assert len(list((desk.folder / "stick").iterdir())) == 2, "nothing is written over"


def test_without_a_stick_that_is_said_and_a_packed_file_is_offered(desk: Desk) -> None:
    desk.begin()
    desk.runs()
    told = desk.post("/copy/stick", {"lesson": name_of(desk)}, 422, drawn_at="/sofar").text
    assert "no USB stick" in told
    answer = desk.post("/copy/packed", {"lesson": name_of(desk)}, 200, drawn_at="/sofar")
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    assert f"boatrun-{name_of(desk)}/tables/runs.csv" in names
    assert f"boatrun-{name_of(desk)}/runs.xlsx" in names


def test_nothing_is_copied_of_what_is_not_there(desk: Desk) -> None:
    (desk.folder / "stick").mkdir()
    for lesson in ("", "../..", "none"):
        desk.post("/copy/packed", {"lesson": lesson}, 422, drawn_at="/lesson/new")
        desk.post("/copy/stick", {"lesson": lesson}, 422, drawn_at="/lesson/new")
    assert list((desk.folder / "stick").iterdir()) == []
