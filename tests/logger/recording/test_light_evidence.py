from __future__ import annotations

import re
from dataclasses import MISSING, fields
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from calibration.light import measure_delay
from logger.errors import ConfigError, InputError, StoreError
from logger.recording.light_evidence import (
    BRIGHTNESS_COLUMNS,
    LIGHT_FORMAT,
    SWITCHES_COLUMNS,
    LightEvidence,
    LightNotes,
    new_evidence_folder,
    read_light_evidence,
    write_light,
)
from logger.recording.tables import Columns
from tests.calibration.light_session import Session, play
from tests.logger.recording.conftest import FORMATS

AT = datetime(2026, 5, 4, 10, 15, 30, tzinfo=UTC)


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, LightEvidence]:
    switches, seen = play(Session(length_s=15))
    notes = LightNotes("2026-05-04T10:15:30+00:00", row_px=seen.row_px, rig="Tub", simulated=True)
    evidence = LightEvidence(notes, switches, seen)
    folder = new_evidence_folder(tmp_path / "light", AT)
    write_light(folder, evidence)
    return folder, evidence


def test_what_is_kept_gives_the_same_delay_again(kept: tuple[Path, LightEvidence]) -> None:
    folder, evidence = kept
    again = read_light_evidence(folder)
    assert again.notes == evidence.notes
    assert np.array_equal(again.switches.before_ns, evidence.switches.before_ns)
    assert np.array_equal(again.glimpses.t_ns, evidence.glimpses.t_ns)
    first = measure_delay(evidence.switches, evidence.glimpses)
    second = measure_delay(again.switches, again.glimpses)
    assert second.delay.value == pytest.approx(first.delay.value, abs=0.01 * first.delay.u)


def test_each_session_has_a_folder_of_its_own_named_by_its_date(tmp_path: Path) -> None:
    made = [new_evidence_folder(tmp_path / "light", AT).name for _ in range(3)]
    assert made == ["light-2026-05-04T101530", "light-2026-05-04T101530-2", "light-2026-05-04T101530-3"]


def test_a_place_where_no_folder_can_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    with pytest.raises(StoreError, match="no folder can be made there"):
        new_evidence_folder(tmp_path / "file" / "below", AT)


def test_files_that_cannot_be_written_are_told(tmp_path: Path, kept: tuple[Path, LightEvidence]) -> None:
    with pytest.raises(StoreError, match="the evidence could not be written"):
        write_light(tmp_path / "nowhere", kept[1])


def change(folder: Path, file: str, old: str, new: str) -> None:
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_folder_of_something_else_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no light\.toml"):
        read_light_evidence(tmp_path)


@pytest.mark.parametrize(
    ("file", "old", "new", "complaint"),
    [
        ("light.toml", "boatrun-light/1", "boatrun-light/9", "made for another version"),
        ("light.toml", "row_px", "raw_px", "row_px"),
        ("switches.csv", "before_ns", "befor_ns", "wanted the header before_ns,after_ns,on"),
        ("switches.csv", ",1\n", ",2\n", "on is .2.; wanted a whole number"),
        ("brightness.csv", ",20000,", ",2e4,", "line_ns is"),
        ("brightness.csv", ",0\n", ",\n", "clipped is"),
    ],
)
def test_a_file_that_is_wrong_is_refused_with_its_place(
    kept: tuple[Path, LightEvidence], file: str, old: str, new: str, complaint: str
) -> None:
    folder, _ = kept
    change(folder, file, old, new)
    with pytest.raises((InputError, ConfigError), match=complaint):
        read_light_evidence(folder)


@pytest.mark.parametrize("word", ["bright", "nan", "inf"])
def test_a_brightness_that_is_no_number_is_refused(kept: tuple[Path, LightEvidence], word: str) -> None:
    folder, evidence = kept
    change(folder, "brightness.csv", f"{evidence.glimpses.brightness[0]:.4f}", word)
    with pytest.raises(InputError, match=r"brightness.csv line 2: brightness is .*; wanted a (finite )?number"):
        read_light_evidence(folder)


def test_a_torn_table_is_refused(kept: tuple[Path, LightEvidence]) -> None:
    folder, _ = kept
    text = (folder / "switches.csv").read_text(encoding="utf-8")
    (folder / "switches.csv").write_text(text[:-3], encoding="utf-8")
    with pytest.raises(InputError, match="the copy is not whole"):
        read_light_evidence(folder)


# --- what FORMATS.md says ---

SECTION = FORMATS.read_text(encoding="utf-8").partition("## Evidence of a light sync")[2]


def names_under(heading: str) -> dict[str, str]:
    """The names in the first column of the table below `heading` -> the last column."""
    lines = SECTION.partition(f"### {heading}\n")[2].partition("\n##")[0].splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| `")]
    return {name: row[-1] for row in cells for name in re.findall(r"`(\w+)`", row[0])}


@pytest.mark.parametrize(
    ("file", "columns"), [("switches.csv", SWITCHES_COLUMNS), ("brightness.csv", BRIGHTNESS_COLUMNS)]
)
def test_every_column_is_described(file: str, columns: Columns) -> None:
    assert tuple(names_under(file)) == columns.needed


def test_every_note_is_described_and_whether_it_is_needed() -> None:
    told = names_under("light.toml")
    assert set(told) == {field.name for field in fields(LightNotes)}
    needed = {field.name for field in fields(LightNotes) if field.default is MISSING}
    assert {name for name, left_out in told.items() if left_out == "needed"} == needed
    assert LIGHT_FORMAT in SECTION
