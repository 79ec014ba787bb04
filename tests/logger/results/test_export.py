from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace

import pytest

from calibration.quantity import Quantity, Source
from logger.config import Boat, Conditions, Line, Rig, RunCard, Tank
from logger.errors import InputError
from logger.records import Edge
from logger.results.columns import COLUMNS, RESULTS, TRACK
from logger.results.csvw import METADATA, files
from logger.results.export import ExportRun, tables_of
from logger.results.trial import NotMeasured, Result, Trial

CARD = RunCard(
    "r-1", "drift", "2026-11-25T10:32:05-05:00",
    Boat("Coot", team="Reeds", version=2, length_mm=180.5, freeboard_mm=22.0, mass_g=61.0, colour="red"),
    Conditions(power="fan", fan_distance_mm=400.0, cargo_g=0.0),
)  # fmt: skip
RIG = Rig(
    "basin", Tank(((0, 0), (9, 0), (9, 9)), 88.0), (Line("start", "start", (0, 0), (0, 9)),), gate_distance_mm=812.5
)


def measured(run_id: str = "r-1", **others: object) -> ExportRun:
    results = {
        "drift_mm": Result(
            Quantity(485.3217, "mm", {Source("freeboard"): 1.1, Source("noise"): -0.8}), "camera", at_least=True
        ),
        "time_s": Result(Quantity.of(2.5, "s", u=0.000021, source="stamps"), "gate"),
    }
    trial = Trial(
        run_id, "drift", "valid", (), results, {"path_mm": NotMeasured("No track.")}, ("It hid.", "A | in it."),
        end_reason="at_rest", software="boatrun 0", calibration_id="cam-1",
    )  # fmt: skip
    values: dict[str, object] = {
        "trial": trial, "status": "valid", "boat": "Coot", "team": "Reeds", "card": CARD, "rig": RIG,
        "edges": (Edge(10**15 + 1, "start-gate", True, "g"), Edge(10**15 + 9, "start-gate", False, "g")),
        "track": ({name: str(i) for i, name in enumerate(TRACK)},),
    }  # fmt: skip
    return ExportRun(**(values | others))


def texts_of(runs: list[ExportRun]) -> dict[str, str]:
    return files(tables_of(runs))


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_run_becomes_one_row_with_units_in_its_headers() -> None:
    (row,) = read(texts_of([measured()])["runs.csv"])
    assert row["drift_mm"] == "485.32"
    assert float(row["u_drift_mm"]) == pytest.approx((1.1**2 + 0.8**2) ** 0.5, abs=0.005)
    assert row["u_time_s"] == "0.0000210", "a small doubt does not round to nought"
    assert (row["boat"], row["team"], row["version"], row["mass_g"]) == ("Coot", "Reeds", "2", "61.00")
    assert (row["date"], row["clock_time"]) == ("2026-11-25", "10:32:05")
    assert row["recorded_at"] == "2026-11-25T10:32:05-05:00"
    assert (row["status"], row["counted"], row["drift_at_least"]) == ("valid", "true", "true")
    assert row["flags"] == "It hid.|A / in it."
    assert row["gate_distance_mm"] == "812.50"


# RFC 3339, section 5.6: "T" and "Z" may be small, and a space may stand for the "T"; section 5.8 gives the examples.
@pytest.mark.parametrize(
    ("written", "columns"),
    [
        ("1985-04-12T23:20:50.52Z", ("1985-04-12", "23:20:50", "1985-04-12T23:20:50.52Z")),
        ("1996-12-19T16:39:57-08:00", ("1996-12-19", "16:39:57", "1996-12-19T16:39:57-08:00")),
        ("2026-05-04 10:15+02:00", ("2026-05-04", "10:15:00", "2026-05-04T10:15:00+02:00")),
        ("20260504T101500+0200", ("", "", "")),
    ],
)
def test_the_wall_time_is_parted_for_spreadsheets(written: str, columns: tuple[str, str, str]) -> None:
    (row,) = read(texts_of([measured(card=replace(CARD, recorded_at=written))])["runs.csv"])
    assert (row["date"], row["clock_time"], row["recorded_at"]) == columns


def test_what_is_missing_is_empty_and_nought_is_a_value() -> None:
    (row,) = read(texts_of([measured()])["runs.csv"])
    assert (row["path_mm"], row["u_path_mm"], row["blowers_count"], row["status_reason"]) == ("", "", "", "")
    assert row["cargo_g"] == "0.00"
    (boat,) = read(texts_of([measured()])["boats.csv"])
    assert (boat["width_mm"], boat["u_width_mm"]) == ("", ""), "a size that nobody measured has no doubt either"


def test_void_rows_stay_and_say_why() -> None:
    rows = read(texts_of([measured(), measured("r-2", status="void", status_reason="a hand in the beam")])["runs.csv"])
    assert [(row["status"], row["counted"], row["status_reason"]) for row in rows] == [
        ("valid", "true", ""), ("void", "false", "a hand in the beam"),
    ]  # fmt: skip


def test_a_run_of_which_only_the_store_knows_still_has_its_row() -> None:
    (row,) = read(texts_of([measured(card=None, rig=None, edges=(), track=())])["runs.csv"])
    assert (row["run_id"], row["boat"], row["drift_mm"], row["date"]) == ("r-1", "Coot", "485.32", "")


def test_tracks_and_edges_name_their_run() -> None:
    texts = texts_of([measured(), measured("r-2")])
    assert [row["run_id"] for row in read(texts["tracks.csv"])] == ["r-1", "r-2"]
    edges = read(texts["edges.csv"])
    assert [(row["run_id"], row["t_ns"], row["level"]) for row in edges[:2]] == [
        ("r-1", "1000000000000001", "1"), ("r-1", "1000000000000009", "0"),
    ]  # fmt: skip


def test_a_boat_is_listed_once_per_version() -> None:
    rebuilt = replace(CARD, boat=replace(CARD.boat, version=3))
    runs = [measured(), measured("r-2"), measured("r-3", card=rebuilt)]
    assert [(row["boat"], row["version"]) for row in read(texts_of(runs)["boats.csv"])] == [
        ("Coot", "2"),
        ("Coot", "3"),
    ]


@pytest.mark.parametrize("name", ["=1+1", "+A1", "-x", "@SUM", "\tx", "＝1"])
def test_names_that_a_spreadsheet_would_run_are_refused(name: str) -> None:
    with pytest.raises(InputError, match=r"runs\.csv, r-1, boat: found .*; wanted text .*; change it"):
        texts_of([measured(boat=name)])


def test_two_runs_of_one_name_are_refused() -> None:
    with pytest.raises(InputError, match="run r-1: found twice"):
        texts_of([measured(), measured()])


# RFC 4180: CR LF ends a line; a field with a quote or comma is quoted and its quotes are doubled.
def test_the_files_are_csv_as_rfc_4180_has_it() -> None:
    text = texts_of([measured(boat='Coot "2", red')])["runs.csv"]
    assert text.count("\r\n") == text.count("\n") == 2
    assert '"Coot ""2"", red"' in text


def test_pandas_reads_numbers_as_numbers_and_gaps_as_gaps() -> None:
    pandas = pytest.importorskip("pandas", reason="pandas comes with the extra 'test'")
    texts = texts_of([measured(), measured("r-2", status="void", status_reason="wind")])
    runs = pandas.read_csv(io.StringIO(texts["runs.csv"], newline=""))
    for name in ("drift_mm", "u_drift_mm", "time_s", "u_time_s", "mass_g", "water_depth_mm", "cargo_g"):
        assert runs[name].dtype.kind == "f", name
    assert runs["path_mm"].isna().all()
    assert runs["counted"].dtype == bool
    edges = pandas.read_csv(io.StringIO(texts["edges.csv"], newline=""))
    assert edges["t_ns"].dtype.kind == "i"
    assert int(edges["t_ns"][0]) == 10**15 + 1


# W3C Recommendation "Metadata Vocabulary for Tabular Data", 17 December 2015: context (5.2), table group (5.3), schema
# and columns (5.5, 5.6: a name may not begin with "_"), datatypes (5.11), keys (5.5.2), common properties (5.8:
# prefixed names or absolute URLs).
DATATYPES = {"string", "number", "integer", "boolean", "date", "time", "dateTimeStamp"}
COLUMN_PROPERTIES = {"name", "titles", "datatype", "required"}


def test_the_metadata_has_the_form_that_the_w3c_asks_for() -> None:
    texts = texts_of([measured()])
    meta = json.loads(texts[METADATA])
    assert meta["@context"] == ["http://www.w3.org/ns/csvw", {"@language": "en"}]
    assert {table["url"] for table in meta["tables"]} == set(texts) - {METADATA}
    for table in meta["tables"]:
        header = next(csv.reader(io.StringIO(texts[table["url"]], newline="")))
        columns = table["tableSchema"]["columns"]
        assert [column["titles"] for column in columns] == header
        assert len(set(header)) == len(header)
        for column in columns:
            assert re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", column["name"])
            base = column["datatype"]["base"] if isinstance(column["datatype"], dict) else column["datatype"]
            assert base in DATATYPES
            assert all(":" in key for key in set(column) - COLUMN_PROPERTIES)


def test_keys_are_unique_and_references_find_their_run() -> None:
    texts = texts_of([measured(), measured("r-2")])
    for table in json.loads(texts[METADATA])["tables"]:
        rows, schema = read(texts[table["url"]]), table["tableSchema"]
        if key := schema.get("primaryKey"):
            values = [tuple(row[name] for name in key) for row in rows]
            assert len(set(values)) == len(values)
        for reference in schema.get("foreignKeys", ()):
            known = {row["run_id"] for row in read(texts[reference["reference"]["resource"]])}
            assert {row[reference["columnReference"]] for row in rows} <= known


# UCUM, table 1 and the rules for prefixes and terms: the codes that can occur here, case-sensitive.
UCUM = {"s", "ns", "mm", "m/s", "mm/s", "m/s2", "/s", "/m", "/min", "g", "deg", "Cel", "1"}


def test_every_number_has_a_ucum_code_and_headers_say_the_unit_too() -> None:
    suffix = {
        "s": "_s", "ns": "_ns", "mm": "_mm", "m/s": "_m_per_s", "g": "_g", "deg": "_deg", "m/s2": "_m_per_s2",
        "/s": "_per_s", "/m": "_per_m", "/min": "_per_min",
    }  # fmt: skip
    for table in json.loads(texts_of([measured()])[METADATA])["tables"]:
        for column in table["tableSchema"]["columns"]:
            unit = column.get("http://qudt.org/schema/qudt/ucumCode")
            assert (unit is not None) == (column["datatype"] in ("number", "integer")), column["name"]
            if unit is not None:
                assert unit in UCUM
                assert column["name"].endswith(suffix.get(unit, "")), column["name"]


def test_every_result_of_the_dictionary_has_its_column_and_its_doubt() -> None:
    header = texts_of([measured()])["runs.csv"].splitlines()[0].split(",")
    for name in RESULTS:
        assert header.index(f"u_{name}") == header.index(name) + 1
    assert all(name.removeprefix("u_") in COLUMNS for name in header)
