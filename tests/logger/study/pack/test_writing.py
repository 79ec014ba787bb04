from __future__ import annotations

import io
import re
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

from logger.study.class_folder import Class, read_class
from logger.study.class_tables import zipped_files
from logger.study.pack.writing import pack, pack_tables, page_names, whole_pack
from tests.logger.study.invented_class import write_class


def test_every_link_inside_leads_to_a_page_of_the_pack(whole: Class, files: dict[str, str]) -> None:
    assert len(files) == len(whole.runs) + 4
    tables = pack_tables(whole)
    for name, text in files.items():
        for link in re.findall(r'href="([^"#:]+)"', re.sub(r"<script.*?</script>", "", text, flags=re.S)):
            assert link in files or link in tables, (name, link)


def test_names_of_pages_are_plain_and_unlike(whole: Class) -> None:
    one = whole.runs[0]
    odd = [replace(one, run=replace(one.run, trial=replace(one.run.trial, run_id=run_id)), number=i)
           for i, run_id in enumerate(("Index", "Lauf Ä", "lauf-ä", "…"))]  # fmt: skip
    names = page_names(replace(whole, runs=tuple(odd)))
    assert len(set(names.values())) == 4
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names.values())
    assert "index" not in names.values()


def test_a_pack_carries_every_page_and_the_tables_of_the_class(whole: Class, files: dict[str, str]) -> None:
    made = whole_pack(whole, band="4-5")
    with zipfile.ZipFile(io.BytesIO(zipped_files(made, "room"))) as archive:
        assert archive.testzip() is None
        assert {name.removeprefix("room/") for name in archive.namelist()} == set(files) | set(pack_tables(whole))
        assert archive.read("room/index.html").decode() == files["index.html"]
    runs = made["files/runs.csv"].decode()
    assert runs.count("s1-r") == len(whole.runs)
    track, comma = made["files/s1-r001-track.csv"].decode(), made["files/comma/s1-r001-track.csv"].decode("utf-8-sig")
    assert track.splitlines()[0].startswith("run_id,t_ns,t_s,x_mm")
    assert comma.splitlines()[1] == track.splitlines()[1].replace(",", ";").replace(".", ",")
    for name, content in made.items():
        if not name.endswith(".xlsx"):
            assert b"a free word" not in content, name
            assert b"T10:" not in content, name


def test_a_class_with_damaged_recordings_is_packed_and_its_pages_say_what_is_missing(tmp_path: Path) -> None:
    folder = write_class(tmp_path)
    shutil.rmtree(folder / "recordings" / "s1-r001")
    (folder / "recordings" / "s1-r045" / "track.csv").write_text("nonsense", encoding="utf-8")
    made = pack(read_class(folder), band="4-5")
    assert "s1-r001.html" not in made
    for page in ("index.html", "class.html"):
        assert "Runs that are missing" in made[page]
        assert "the recording s1-r001 of run s1-r001 is gone" in made[page]
        assert str(folder) not in made[page]
    assert "1 is missing: its recording cannot be read." in made["index.html"]
    assert "The track of this run cannot be drawn:" in made["s1-r045.html"]


def test_of_a_whole_class_nothing_is_said_to_be_missing(files: dict[str, str]) -> None:
    assert "Runs that are missing" not in files["index.html"] + files["class.html"]
