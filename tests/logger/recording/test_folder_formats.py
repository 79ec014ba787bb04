"""FORMATS.md says what the program does: every name, every default, and an example that can be measured."""

from __future__ import annotations

import json
import re
from dataclasses import MISSING, fields
from pathlib import Path
from typing import get_args

import pytest

from calibration import files
from calibration.quantity import Quantity
from logger.config import (
    Boat,
    CameraSetup,
    Conditions,
    DriverChoice,
    Gate,
    KindOfRun,
    Line,
    LineRole,
    Power,
    Rig,
    Rules,
    RunCard,
    Tank,
    Zone,
    ZoneKind,
)
from logger.recording.card_toml import RECORDING_FORMAT
from logger.recording.folder import load
from logger.recording.place_list import KINDS, PLACE_COLUMNS
from logger.recording.rig_toml import RIG_FORMAT
from logger.recording.sensor_tables import EDGE_COLUMNS, EVENT_COLUMNS, FRAME_COLUMNS
from logger.recording.tables import Columns
from logger.records import KeyName
from logger.results.columns import RESULTS, TRACK
from logger.results.measure import measure
from logger.results.trial import FORMAT, EndReason, Result, Status, Trial
from logger.results.trial_json import to_json

from .conftest import FORMATS, write_example

TEXT = FORMATS.read_text(encoding="utf-8")
SHORT_FORMS = {"length_mm", "width_mm", "origin_mm", "x_mm"}
"""What may be written instead of a value's own fields, in [tank] and [[lines]]."""
SECTIONS = {
    "### The run": RunCard,
    "### [boat]": Boat,
    "### [conditions]": Conditions,
    "### [rules]": Rules,
    "### The rig": Rig,
    "### [tank]": Tank,
    "### [[lines]]": Line,
    "### [[gates]]": Gate,
    "### [[zones]]": Zone,
    "### [camera]": CameraSetup,
    "In `[gates_driver]`": DriverChoice,
}


def table_under(start: str) -> list[list[str]]:
    """The cells of the first table after `start`, without its head."""
    after = TEXT[TEXT.index(f"\n{start}") :]
    rows = re.search(r"(?:^\|.*\n)+", after, re.MULTILINE)
    assert rows is not None
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[0].splitlines()[2:]]


def names_in(cell: str) -> list[str]:
    return re.findall(r"`([\w.]+)`", cell)


@pytest.mark.parametrize("start", SECTIONS)
def test_every_field_is_described_with_its_default(start: str) -> None:
    told: dict[str, str] = {}
    for first, _, left_out in table_under(start):
        names = names_in(first)
        told |= dict.fromkeys(names, left_out)
        if len(names) == 2 and names[1] == f"u_{names[0]}":
            told[names[0]], told[names[1]] = left_out.rsplit(", ", 1)
        elif len(names) == 2 and "," in left_out and left_out != "needed, or:":
            told |= dict(zip(names, left_out.split(", "), strict=True))
    known = {f.name: f for f in fields(SECTIONS[start])}
    own_shape = SECTIONS[start] in (Tank, Line)
    assert set(told) - (SHORT_FORMS if own_shape else set()) == set(known)
    for name, field in known.items():
        if field.default is MISSING and field.default_factory is MISSING:
            assert told[name].startswith("needed") or name == "driver"
        elif isinstance(field.default, (bool, int, float)):
            assert told[name].strip("`").lower() == str(field.default).lower()
        else:
            assert not told[name].startswith("needed")


@pytest.mark.parametrize(
    ("words", "where"),
    [(KindOfRun, "### The run"), (Power, "### [cond"), (LineRole, "### [[lin"), (ZoneKind, "### [[zon")],
)
def test_every_word_that_may_be_chosen_is_listed(words: object, where: str) -> None:
    cells = [middle for _, middle, _ in table_under(where)]
    assert any(set(get_args(words)) <= set(names_in(cell)) for cell in cells)


@pytest.mark.parametrize(
    ("start", "columns"),
    [("### edges.csv", EDGE_COLUMNS), ("### frames.csv", FRAME_COLUMNS), ("### events.csv", EVENT_COLUMNS)],
)
def test_every_column_is_described_and_so_is_whether_it_is_needed(start: str, columns: Columns) -> None:
    told = {names_in(first)[0]: "may be left out" in words for first, words in table_under(start)}
    assert told == dict.fromkeys(columns.needed, False) | dict.fromkeys(columns.optional, True)


def test_every_word_of_a_person_is_described_as_an_event() -> None:
    events = TEXT[TEXT.index("### events.csv") :]
    assert set(get_args(KeyName)) <= set(names_in(events[: events.index("\n## ")]))


def test_every_name_of_a_calibration_is_described() -> None:
    told = {name.split(".")[-1] for first, _, _ in table_under("## camera.toml") for name in names_in(first)}
    told |= {"u_fy_px", "u_cx_px", "u_cy_px", "u_k1", "u_k2", "u_p1", "u_p2"}  # "`lens.u_fx_px` ... `lens.u_k3`"
    wanted = {*files.LENS_SIZE, *files.LENS_PARAMETERS, *files.POSE_DOUBTS, "covariance", "doubt", "evidence"}
    wanted |= {f"u_{name}" for name in files.LENS_PARAMETERS} | {"rotation", "rotation_vector", "camera_mm"}
    assert wanted <= told


def test_formats_are_named_with_their_version() -> None:
    for name in (RECORDING_FORMAT, RIG_FORMAT, files.CAMERA_FORMAT, FORMAT):
        assert name in TEXT


def test_every_name_of_a_trial_is_described() -> None:
    result = Result(Quantity.of(1.0, "s", u=0.1, source="clock"), "gate", at_least=True)
    written = json.loads(to_json(Trial("r", "drift", "valid", (), {"time_s": result})))
    section = TEXT[TEXT.index("## trial.json") : TEXT.index("## track.csv")]
    told = set(names_in(section))
    assert set(written) <= told
    assert set(written["results"]["time_s"]) <= told
    assert set(get_args(Status)) | set(get_args(EndReason)) <= told
    assert set(RESULTS) <= told


def test_every_column_of_a_track_is_described_in_order() -> None:
    assert [name for first, _ in table_under("## track.csv") for name in names_in(first)] == list(TRACK)


def test_the_smallest_recording_can_be_measured_and_comes_to_what_is_written_there(tmp_path: Path) -> None:
    recording = load(write_example(tmp_path / "run", camera=False))
    assert recording.doubts == ()
    found = measure(recording).trial
    said = re.search(r"took (\d\.\d+) s for 1500 mm: (\d\.\d+) m/s", TEXT)
    assert said is not None
    assert found.status == "valid"
    assert found.results["time_s"].quantity.value == pytest.approx(float(said[1]), abs=1e-9)
    assert found.results["speed_mean_m_per_s"].quantity.value == pytest.approx(float(said[2]), abs=1e-9)


def test_the_example_with_a_camera_opens_without_a_doubt(tmp_path: Path) -> None:
    recording = load(write_example(tmp_path / "run", camera=True))
    assert recording.doubts == ()
    assert recording.view is not None
    assert recording.view.pose.camera_mm == pytest.approx([750, 0, 1400])
    assert set(recording.view.variations) == {"camera tilt about x", "camera tilt about y", "camera height"}
    assert [frame.t_ns for frame in recording.frames()] == [4_800_000_000, 4_833_333_333, 4_866_666_667]
    assert [event.detail for event in recording.events] == ["", "a gust, from the door"]


def test_what_is_said_of_the_camera_frame_is_so(tmp_path: Path) -> None:
    """ "Straight above, sees +x to the right; the middle of a 1280 x 720 picture is (639.5, 359.5)"."""
    view = load(write_example(tmp_path / "run", camera=True)).view
    assert view is not None
    assert view.to_pixels([[750, 0, 0]])[0] == pytest.approx([639.5, 359.5])
    # 100 mm along x at 1400 mm: 800 px · 100/1400 to the right; 100 mm to the left is as much up
    assert view.to_pixels([[850, 0, 0]])[0] == pytest.approx([639.5 + 800 / 14, 359.5])
    assert view.to_pixels([[750, 100, 0]])[0] == pytest.approx([639.5, 359.5 - 800 / 14])


def test_every_column_of_a_table_of_points_is_described() -> None:
    told = {name: words for first, words in table_under("## Tables of points") for name in names_in(first)}
    assert set(told) == {*PLACE_COLUMNS.needed, *PLACE_COLUMNS.optional}
    assert all(kind in told["kind"] for kind in KINDS)
