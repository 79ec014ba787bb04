"""A replayed recording says what was recorded."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.drivers import open_driver
from logger.drivers.recorded import RecordedCamera, RecordedOptions
from logger.errors import DriverError
from logger.recording.folder import Event
from logger.records import ClockDoubt, Edge, Fault, Key, Quiet
from tests.logger.drivers.conftest import STORY, S, picture, write


def heard(kind: str, folder: Path, name: str = "") -> list[Any]:
    with open_driver(kind, {"folder": str(folder)}, name=name) as driver:
        return [record for record in driver.records(threading.Event()) if not isinstance(record, Quiet)]


def test_edges_come_back_with_stamp_level_and_count(recording: Path) -> None:
    told = [record for record in heard("recorded_gates", recording, "gates") if isinstance(record, Edge)]
    assert told == [record for record in STORY if isinstance(record, Edge)]


def test_pictures_come_back_with_the_cameras_own_bytes(recording: Path) -> None:
    frames = heard("recorded_camera", recording, "camera")
    assert len(frames) == 8
    for number, frame in enumerate(frames):
        wanted = picture(number)
        assert (frame.t_ns, frame.exposure_ns, frame.line_ns, frame.jpeg) == (
            wanted.t_ns, wanted.exposure_ns, wanted.line_ns, wanted.jpeg
        )  # fmt: skip
        assert np.array_equal(frame.image, wanted.image)


def test_keys_and_faults_come_back(recording: Path) -> None:
    assert heard("recorded_panel", recording, "panel") == [
        Key(5 * S, "arm", "panel"),
        Key(5_700_000_000, "note", "panel", "a gust, from the door"),
    ]


def test_each_driver_tells_again_of_its_own_trouble_and_doubt(tmp_path: Path) -> None:
    said = [
        Fault(6 * S, "gates", "a jump; of 3 edges", "check the plug", since_ns=5_950_000_000),
        ClockDoubt(6_100_000_000, "gates", 120_000, "9 of 30 answers"),
        ClockDoubt(6_100_000_000, "camera", 4_000_000, "stamped on arrival"),
        Fault(6_200_000_000, "panel", "a button sticks", "press it again"),
    ]
    folder = write(tmp_path / "r", tuple(sorted((*STORY[:-1], *said[1:]), key=lambda record: record.t_ns)))
    for source, own in (("gates", said[:2]), ("camera", said[2:3]), ("panel", said[3:])):
        told = [r for r in heard(f"recorded_{source}", folder, source) if isinstance(r, Fault | ClockDoubt)]
        assert told == own


def test_all_drivers_of_one_recording_tell_of_the_same_time(recording: Path) -> None:
    spans = []
    for kind in ("recorded_gates", "recorded_camera", "recorded_panel"):
        with open_driver(kind, {"folder": str(recording)}) as driver:
            stamps = [record.t_ns for record in driver.records(threading.Event())]
        spans.append((stamps[0], stamps[-1]))
    assert spans == [(5 * S - 2, 7_800_000_000)] * 3


def test_a_recording_that_was_never_armed_is_armed_at_its_beginning(tmp_path: Path) -> None:
    edges = tuple(record for record in STORY if isinstance(record, Edge))
    assert heard("recorded_panel", write(tmp_path / "r", edges), "p") == [Key(5_600_000_000 - 1, "arm", "p")]


def test_a_recording_of_another_program_is_armed_where_it_says_so(tmp_path: Path) -> None:
    story = (Event(5 * S, "armed", "their program"), *(record for record in STORY if isinstance(record, Edge)))
    assert heard("recorded_panel", write(tmp_path / "r", story), "p") == [Key(5 * S, "arm", "p")]


def test_a_fault_in_words_of_others_keeps_its_words(tmp_path: Path) -> None:
    story = (Event(5 * S, "fault", "their program", "sun in the sensor"), *STORY[-3:])
    assert heard("recorded_panel", write(tmp_path / "r", story), "p")[1] == Fault(5 * S, "p", "sun in the sensor", "")


def test_a_recording_without_video_has_no_camera_to_replay(tmp_path: Path) -> None:
    edges = tuple(record for record in STORY if isinstance(record, Edge))
    with pytest.raises(DriverError, match="this recording has no video; replay its gates only"):
        heard("recorded_camera", write(tmp_path / "r", edges))


def test_a_recording_without_gates_has_no_gates_to_replay(recording: Path, tmp_path: Path) -> None:
    for file in recording.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    rig = (recording / "rig.toml").read_text().split("[[gates]]")[0] + '[camera]\ncalibration = "camera.toml"\n'
    (tmp_path / "rig.toml").write_text(rig)
    (tmp_path / "edges.csv").unlink()
    with pytest.raises(DriverError, match="has no gates; replay its camera"):
        heard("recorded_gates", tmp_path)


def test_a_video_that_is_taken_away_ends_in_a_fault(recording: Path, tmp_path: Path) -> None:
    for file in recording.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    with RecordedCamera(RecordedOptions(str(tmp_path)), name="camera") as driver:
        (tmp_path / "video.mjpeg").write_bytes(b"")
        (first, last) = driver.records(threading.Event())
    assert isinstance(first, Quiet)
    assert isinstance(last, Fault)
    assert last.lasting
    assert "video.mjpeg" in last.what


def test_a_driver_that_is_not_open_says_so(recording: Path) -> None:
    driver = open_driver("recorded_gates", {"folder": str(recording)})
    with pytest.raises(DriverError, match="use it inside `with`"):
        list(driver.records(threading.Event()))
