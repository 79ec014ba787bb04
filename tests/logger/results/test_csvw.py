"""Tables read back by programs that nobody here wrote: the reference reader of CSVW, and pandas."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import csvw
import pandas
import pytest

from logger.results.csvw import METADATA, files
from logger.results.export import tables_of
from logger.results.trial import Visit
from tests.logger.results.test_export import measured

RUNS = [measured(), measured("r-2", status="void", status_reason="a hand; in the beam")]


def on_disk(folder: Path, *, comma: bool) -> Path:
    for name, text in files(tables_of(RUNS), comma=comma).items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder


@pytest.mark.parametrize("comma", [False, True])
def test_the_reader_of_csvw_finds_every_value_by_the_metadata_alone(tmp_path: Path, comma: bool) -> None:
    """Package csvw, by the Max Planck Institute's CLDF project: an implementation of the W3C's recommendation."""
    group = csvw.TableGroup.from_file(on_disk(tmp_path, comma=comma) / METADATA)
    group.check_referential_integrity()
    tables = {str(table.url): list(table) for table in group.tables}
    first, second = tables["runs.csv"]
    assert float(first["drift_mm"]) == 485.32
    assert float(first["u_time_s"]) == 0.000021
    assert first["path_mm"] is None
    assert (first["counted"], second["counted"]) == (True, False)
    assert second["status_reason"] == "a hand; in the beam"
    assert str(first["date"])[:10] == "2026-11-25"
    assert tables["edges.csv"][0]["t_ns"] == 10**15 + 1


def test_a_table_with_commas_holds_the_same_numbers(tmp_path: Path) -> None:
    plain, comma = (files(tables_of(RUNS), comma=c)["runs.csv"] for c in (False, True))
    assert comma.startswith("\ufeff")
    assert ";485,32;" in comma
    one = pandas.read_csv(io.StringIO(plain, newline=""))
    other = pandas.read_csv(io.StringIO(comma.removeprefix("\ufeff"), newline=""), sep=";", decimal=",")
    pandas.testing.assert_frame_equal(one, other)


def test_visits_stand_in_a_table_of_their_own() -> None:
    run = measured()
    visit = Visit("Reed Bay", "port", 10**15, 10**15 + 1_500_000_000, 0.003, 0.004, 1.0)
    run = replace(run, trial=replace(run.trial, visits=(visit,)))
    (row,) = pandas.read_csv(io.StringIO(files(tables_of([run]))["visits.csv"], newline="")).to_dict("records")
    assert (row["zone"], row["zone_kind"], row["stay_s"], row["chance"]) == ("Reed Bay", "port", 1.5, 1.0)
    assert row["u_stay_s"] == pytest.approx(0.005)
