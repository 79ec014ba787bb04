from __future__ import annotations

import csv
import io
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest

from logger.study.class_folder import Class, read_class
from logger.study.class_tables import FORMS, class_files, class_tables, one_table, run_rows, zipped_files
from tests.logger.study.invented_class import HEAVIER, drift_mm, sails, write_class


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_class(tmp_path_factory.mktemp("class"))


@pytest.fixture(scope="module")
def whole(folder: Path) -> Class:
    return read_class(folder)


def rows_of(content: bytes, *, comma: bool = False) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig")), delimiter=";" if comma else ","))


def test_every_run_of_the_class_is_in_its_table_with_its_numbers(whole: Class) -> None:
    rows = rows_of(class_files(whole, "csv")["runs.csv"])
    assert [row["run_id"] for row in rows] == [one.id for one in whole.runs]
    first = next(sail for sail in sails() if sail.kind == "drift")
    (drift,) = [row for row in rows if row["kind"] == "drift" and row["boat"] == first.team]
    assert float(drift["drift_mm"]) == pytest.approx(drift_mm(first), abs=0.005)
    assert (drift["material"], drift["mass_g"]) == ("foil", "30.00")


def test_the_comma_form_and_the_workbook_say_the_same(whole: Class) -> None:
    plain = rows_of(class_files(whole, "csv")["runs.csv"])
    comma = rows_of(class_files(whole, "csv-comma")["runs.csv"], comma=True)
    assert [float(row["time_s"].replace(",", ".") or 0) for row in comma] == [float(r["time_s"] or 0) for r in plain]
    assert any("," in row["time_s"] for row in comma)
    book = openpyxl.load_workbook(io.BytesIO(class_files(whole, "xlsx")["runs.xlsx"]), read_only=True)
    head, *lines = book["runs"].iter_rows(values_only=True)
    at = list(head).index("time_s")
    assert [line[at] or 0 for line in lines] == [float(row["time_s"] or 0) for row in plain]


def test_no_note_and_no_time_of_day_leaves_the_rig(whole: Class) -> None:
    for form in FORMS:
        for name, content in class_files(whole, form).items():
            if not name.endswith(".xlsx"):
                assert b"a free word" not in content
                assert b"nobody else may read" not in content
                assert b"T10:" not in content
    rows = run_rows(whole)
    assert {row["note"] for row in rows} != {""}, "in the runs that are analysed it still stands"
    assert {row["date"] for row in rows_of(class_files(whole, "csv")["runs.csv"])} == {"2026-05-04"}


def test_one_run_alone_and_one_table_of_it(whole: Class) -> None:
    made = class_files(whole, "csv", only="s1-r045")
    assert [row["run_id"] for row in rows_of(made["runs.csv"])] == ["s1-r045"]
    tracks = rows_of(one_table(class_tables(whole, only="s1-r045"), "tracks", "csv"))
    assert {row["run_id"] for row in tracks} == {"s1-r045"}
    assert len(tracks) > 100
    assert rows_of(one_table(class_tables(whole, only="s1-r045"), "tracks", "csv-comma"), comma=True)[0]["x_mm"]
    with pytest.raises(KeyError, match="tables"):
        one_table(class_tables(whole), "tables", "csv")


def test_a_run_that_is_missing_stays_in_the_table_with_what_the_store_knows(tmp_path: Path) -> None:
    folder = write_class(tmp_path)
    shutil.rmtree(folder / "recordings" / "s1-r001")
    (folder / "recordings" / "s1-r003" / "track.csv").write_text("nonsense", encoding="utf-8")
    (folder / "recordings" / "s1-r004" / "edges.csv").write_text("nonsense", encoding="utf-8")
    rows = {row["run_id"]: row for row in rows_of(class_files(read_class(folder), "csv")["runs.csv"])}
    assert float(rows["s1-r001"]["time_s"]) == pytest.approx(1000 / 240, abs=1e-4)
    assert rows["s1-r001"]["mass_g"] == ""
    assert rows["s1-r003"]["time_s"]


def test_the_same_files_are_the_same_zip(whole: Class) -> None:
    made = class_files(whole, "csv")
    assert zipped_files(made, "room") == zipped_files(made, "room")
    with zipfile.ZipFile(io.BytesIO(zipped_files(made, "room"))) as archive:
        assert set(archive.namelist()) == {f"room/{name}" for name in made}


def test_rows_for_an_experiment_find_their_levels(whole: Class) -> None:
    levels = [HEAVIER.changed.level_of(row) for row in run_rows(whole) if row["kind"] == "drift"]
    assert levels == ["30", None, "60", None, "90", None, None, "150"]
