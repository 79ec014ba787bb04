"""A real overhead film that nobody here made, through the tracker and the whole main job: one ant in a dish.

Data: github.com/pminasandra/tracktorlive, tutorials/03-tuning-params (GPL-3.0), 958 x 552, 30 pictures a second, 75 s.
There are no labels, so the film is held against itself: one thing, always there, no jumps. The first ten pictures are
black. As a second witness a plain threshold finds the dark blob in the pale dish.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from logger.recording.folder import load
from logger.results.measure import conclude
from logger.vision.track import MEASURED, Track
from logger.vision.tracker import track_boat

BLACK_COUNT = 10
BEGINNING_COUNT = 600
FRAME_NS = 33_333_333
CENTRE_PX, RADIUS_PX, MM_PER_PX = (495.0, 268.0), 195.0, 2.0


@pytest.fixture(scope="module")
def film(real_data: Path) -> Path:
    return real_data / "ant_dish" / "ant.mp4"


@pytest.fixture(scope="module")
def blob_mm(film: Path) -> NDArray[np.float64]:
    """(N, 2) centroid of the largest dark blob in the dish, tank frame; NaN where there is none."""
    reader, found = cv2.VideoCapture(str(film)), []
    rows, columns = np.indices((552, 958))
    dish = np.hypot(columns - CENTRE_PX[0], rows - CENTRE_PX[1]) < RADIUS_PX
    while True:
        more, picture = reader.read()
        if not more:
            break
        dark = (cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY) < 90) & dish
        count, _, stats, centres = cv2.connectedComponentsWithStats(dark.astype(np.uint8))
        whole = count > 1 and len(found) >= BLACK_COUNT
        found.append(centres[1 + int(np.argmax(stats[1:, 4]))] if whole else (np.nan, np.nan))
    reader.release()
    return (np.array(found) - CENTRE_PX) * (MM_PER_PX, -MM_PER_PX)


@pytest.fixture(scope="module")
def folder(film: Path, as_recording: Callable[..., Path], a_dish: Callable[..., Any]) -> Path:
    dish = a_dish(958, 552, centre_px=CENTRE_PX, radius_px=RADIUS_PX, mm_per_px=MM_PER_PX)
    stamps_ns = [i * FRAME_NS for i in range(2263)]
    return as_recording("ant", video=film, dish=dish, stamps_ns=stamps_ns, boat="freeboard_mm = 4")


@pytest.fixture(scope="module")
def track(folder: Path) -> Track:
    recording = load(folder)
    found = track_boat(recording, recording.rig)
    assert isinstance(found, Track), f"nothing was found: {found}"
    return found


def test_one_thing_is_seen_in_nearly_every_picture(track: Track) -> None:
    assert len(set(track.frame.tolist())) == len(track.frame)
    assert len(track.frame) > 0.97 * (2263 - BLACK_COUNT)


def test_where_it_bends_its_place_is_doubted_and_nowhere_else(track: Track) -> None:
    """No boat bends, an ant in a curve does: parts of its outline then say places half a pixel and more apart."""
    is_measured = track.quality == MEASURED
    u_mm = np.sqrt(np.trace(track.noise_mm2[:, :2, :2], axis1=1, axis2=2))
    assert np.mean(is_measured) > 0.4
    assert np.mean(is_measured | (u_mm > 0.5 * MM_PER_PX)) > 0.93


def test_nothing_is_claimed_while_the_film_is_black(track: Track) -> None:
    assert track.frame.min() >= BLACK_COUNT


def test_the_ant_never_jumps(track: Track) -> None:
    """From one picture to the next it runs at most 26 px by the plain threshold too."""
    seen = track.quality == MEASURED
    step_mm = np.hypot(np.diff(track.x_mm[seen]), np.diff(track.y_mm[seen]))
    pictures = np.diff(track.frame[seen])
    assert np.median(step_mm) < 1.5 * MM_PER_PX
    assert np.max(step_mm / pictures) < 30 * MM_PER_PX
    assert np.hypot(track.x_mm, track.y_mm).max() < RADIUS_PX * MM_PER_PX


def test_it_is_the_ant_and_not_something_else(track: Track, blob_mm: NDArray[np.float64]) -> None:
    """Its body is 80 mm long at this scale: never as much as half of it away from the dark blob."""
    there = np.column_stack([track.x_mm, track.y_mm])
    apart_mm = np.hypot(*(there - blob_mm[track.frame]).T)
    seen = track.quality == MEASURED
    assert np.median(apart_mm[seen]) < 3.0
    assert apart_mm[seen].max() < 40.0
    assert np.mean(apart_mm > 40.0) < 0.02, "what is farther off must at least be rare; it is marked doubtful"


def test_times_are_those_of_the_stamps(track: Track) -> None:
    assert all(a < b for a, b in pairwise(track.t_ns.tolist()))
    assert np.array_equal(track.t_ns, track.frame * FRAME_NS)


def test_the_whole_job_makes_a_trial_of_it(folder: Path, track: Track) -> None:
    """The path from the smoothed curve: shorter than the plain threshold's, which adds up noise, and not by much."""
    recording = load(folder)
    outcome = conclude(recording, recording.rig, track)
    assert outcome.motion is not None
    assert outcome.trial.status == "valid"
    assert outcome.trial.end_reason in {"recording_ended", "time_cap"}
    speed = outcome.motion.speed_mm_per_s
    raw_mm = float(np.hypot(np.diff(track.x_mm), np.diff(track.y_mm)).sum())
    smooth_mm = float(np.sum(np.hypot(*np.diff(outcome.motion.place_mm, axis=0).T)))
    assert 0.7 * raw_mm < smooth_mm < raw_mm
    assert 20 < np.median(speed) < 200
    assert not outcome.trial.simulated


@pytest.fixture
def beginning(film: Path, tmp_path: Path) -> Path:
    """Its first twenty seconds: what is doubtful as a whole is so in a part."""
    reader, path = cv2.VideoCapture(str(film)), tmp_path / "beginning.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 30, (958, 552))
    for _ in range(BEGINNING_COUNT):
        writer.write(reader.read()[1])
    writer.release()
    reader.release()
    return path


def test_with_a_card_that_does_not_fit_the_animal_nothing_is_called_measured(
    beginning: Path, as_recording: Callable[..., Path], a_dish: Callable[..., Any]
) -> None:
    """The ant's body with its legs off is some 65 mm long at this scale; a card that says 120 mm is of another boat."""
    dish = a_dish(958, 552, centre_px=CENTRE_PX, radius_px=RADIUS_PX, mm_per_px=MM_PER_PX)
    stamps_ns = [i * FRAME_NS for i in range(BEGINNING_COUNT)]
    card = "freeboard_mm = 4\nlength_mm = 120\nwidth_mm = 30"
    recording = load(as_recording("other", video=beginning, dish=dish, stamps_ns=stamps_ns, boat=card))
    found = track_boat(recording, recording.rig)
    reasons = found.flags if isinstance(found, Track) else (found.reason,)
    assert any("the boat card says 120 mm" in reason for reason in reasons)
    assert not isinstance(found, Track) or not np.any(found.quality == MEASURED)
