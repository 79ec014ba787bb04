from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest

from logger.results.store import Correction, Store
from logger.web.pages.study import class_folders
from tests.logger.study.invented_class import write_class
from tests.logger.web.conftest import Desk

NAME = "Room%2012"


@pytest.fixture
def lesson(desk: Desk) -> Path:
    folder = desk.folder / "lessons" / "Room 12"
    folder.mkdir(parents=True)
    return write_class(folder)


def test_without_a_class_that_is_said(desk: Desk) -> None:
    assert "There is no class here yet" in desk.get("/study")


def test_classes_are_found_beside_the_rig_file(desk: Desk, lesson: Path) -> None:
    assert class_folders(desk.folder) == {"Room 12": lesson}
    assert f'href="/study/{NAME}"' in desk.get("/study")


def test_every_page_of_a_class_is_served_and_every_link_leads_somewhere(desk: Desk, lesson: Path) -> None:
    seen: set[str] = set()
    todo = [f"/study/{NAME}"]
    while todo:
        path = todo.pop()
        if path in seen or (path.count("/run/") and sum("/run/" in p for p in seen) > 3):
            continue
        seen.add(path)
        text = desk.get(path)
        todo += [link for link in re.findall(r'href="(/[^"#]*)"', text) if link.startswith("/study")]
        for static in re.findall(r'(?:src|href)="(/static/[^"]*)"', text):
            assert desk.client.get(static).status_code == 200, static
    assert f"/study/{NAME}/class" in seen
    assert any("/run/s1-r" in path for path in seen)


def test_a_served_page_may_run_only_what_comes_from_here(desk: Desk, lesson: Path) -> None:
    answer = desk.client.get(f"/study/{NAME}/run/s1-r001")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    scripts = re.findall(r"<script([^>]*)>", answer.text)
    assert [s for s in scripts if "src=" not in s] == [' type="application/json" id="data"']
    assert not re.search(
        r"<style|\sstyle=|\son\w+=", re.sub(r"<svg.*?</svg>|<script.*?</script>", "", answer.text, flags=re.S)
    )


def test_what_is_decided_later_is_seen_at_once(desk: Desk, lesson: Path) -> None:
    assert "did not finish" not in desk.get(f"/study/{NAME}/run/s1-r003")
    with Store(lesson / "trials.sqlite") as store:
        store.correct(Correction("s1-r003", "did_not_finish", "stuck", "teacher", "now"))
    assert "did not finish" in desk.get(f"/study/{NAME}/run/s1-r003")


def test_sheets_tracks_and_the_pack_can_be_taken(desk: Desk, lesson: Path) -> None:
    assert desk.client.get(f"/study/{NAME}/print/results.pdf?paper=letter").content.startswith(b"%PDF")
    assert desk.client.get(f"/study/{NAME}/run/s1-r001/track.csv").text.startswith("t_ns,t_s,x_mm")
    with zipfile.ZipFile(io.BytesIO(desk.client.get(f"/study/{NAME}/pack.zip?grades=6-8").content)) as archive:
        assert "Room 12/index.html" in archive.namelist()


def test_tables_of_class_run_and_track_can_be_taken_in_every_form(desk: Desk, lesson: Path) -> None:
    for begin, runs in ((f"/study/{NAME}", 53), (f"/study/{NAME}/run/s1-r045", 1)):
        book = openpyxl.load_workbook(io.BytesIO(desk.client.get(f"{begin}/tables/xlsx").content), read_only=True)
        assert len(list(book["runs"].iter_rows())) == runs + 1
        for form in ("csv", "csv-comma"):
            with zipfile.ZipFile(io.BytesIO(desk.client.get(f"{begin}/tables/{form}").content)) as archive:
                (name,) = [name for name in archive.namelist() if name.endswith("/runs.csv")]
                assert archive.read(name).decode().count("s1-r") == runs
                assert b"a free word" not in archive.read(name)
    assert desk.client.get(f"/study/{NAME}/run/s1-r045/track/csv").text.startswith("run_id,t_ns")
    assert desk.client.get(f"/study/{NAME}/run/s1-r045/track/csv-comma").text.lstrip("\ufeff").startswith("run_id;t_ns")


@pytest.mark.parametrize(
    "path",
    ["/study/Nowhere", f"/study/{NAME}/run/none", f"/study/{NAME}/print/medals.pdf", f"/study/{NAME}?grades=9",
     f"/study/{NAME}/print/results.pdf?paper=a5", f"/study/{NAME}/run/none/track.csv",
     f"/study/{NAME}/tables/pdf", f"/study/{NAME}/run/none/tables/csv", f"/study/{NAME}/run/s1-r001/track/xlsx",
     f"/study/{NAME}/experiment/none", "/study/..%2F..", "/study/../x"],
)  # fmt: skip
def test_what_is_not_there_is_not_found(desk: Desk, lesson: Path, path: str) -> None:
    assert "there is no such page" in desk.get(path, status=404)


def test_a_class_with_a_damaged_recording_opens_and_is_whole_as_soon_as_it_is_put_back(
    desk: Desk, lesson: Path
) -> None:
    place = lesson / "recordings" / "s1-r001"
    place.rename(lesson / "away")
    assert "the recording s1-r001 of run s1-r001 is gone" in desk.get(f"/study/{NAME}")
    assert "Runs that are missing" in desk.get(f"/study/{NAME}/class")
    assert desk.client.get(f"/study/{NAME}/print/results.pdf").content.startswith(b"%PDF")
    (lesson / "away").rename(place)
    assert "is gone" not in desk.get(f"/study/{NAME}")


def test_each_visitor_is_answered_in_the_language_of_the_visit(desk: Desk, lesson: Path) -> None:
    assert "Team Heron, run 1" in desk.get(f"/study/{NAME}/run/s1-r001")
    desk.post("/language", {"language": "es", "back": "/study"}, drawn_at="/study")
    page = desk.get(f"/study/{NAME}/run/s1-r001")
    assert "Team Heron, recorrido 1" in page
    assert "la llegada de la proa a la línea de salida" in page
    assert "Recorridos rectos" in desk.get(f"/study/{NAME}/class")
    assert "una página por equipo" in desk.get("/study")


def test_what_is_looked_at_is_what_is_printed(desk: Desk, lesson: Path) -> None:
    looked = desk.client.get(f"/study/{NAME}/print/results.pdf?look")
    kept = desk.client.get(f"/study/{NAME}/print/results.pdf")
    assert looked.content == kept.content
    assert looked.headers["Content-Disposition"].startswith("inline")
    assert kept.headers["Content-Disposition"].startswith("attachment")
