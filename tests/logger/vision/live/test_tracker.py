from __future__ import annotations

import time

import numpy as np
import pytest

from logger.vision.live.tracker import LiveTracker
from tests.logger.vision.conftest import Painted
from tests.logger.vision.painted import Toy
from tests.logger.vision.tagged_run import boat, tagged_run


def followed(painted: Painted, *, with_start: bool) -> tuple[list, np.ndarray]:
    rig, recording = painted.rig, painted.recording
    assert recording.view is not None
    tracker = LiveTracker(
        recording.view, rig.tank, recording.card.boat, start=rig.line("start") if with_start else None
    )
    fixes = [tracker.feed(frame) for frame in recording.frames()]
    off = [
        np.nan if f is None else np.hypot(*(np.array([f.x_mm, f.y_mm]) - p))
        for f, p in zip(fixes, painted.places_mm, strict=True)
    ]
    return fixes, np.array(off)


def test_nearly_every_frame_has_a_fix_to_a_few_millimetres_at_rest_and_under_way(painted: Painted) -> None:
    fixes, off = followed(painted, with_start=True)
    assert all(fix is not None for fix in fixes)
    assert np.mean([fix.quality == "measured" for fix in fixes[2:]]) > 0.93
    assert np.median(off) < 5
    assert np.percentile(off, 95) < 12
    heading = np.radians([fix.heading_deg for fix in fixes])
    assert np.median(np.abs(heading - painted.headings_rad)) < 0.06
    assert np.median([fix.bow_mm for fix in fixes[40:]]) == pytest.approx(Toy().outline_mm[:, 0].max(), abs=5)


def test_times_are_those_of_the_boats_own_row(painted: Painted) -> None:
    fixes, _ = followed(painted, with_start=True)
    late = fixes[100].t_ns - 100 * 33_333_333
    assert 2_000_000 + 150 * 20_000 < late < 2_000_000 + 450 * 20_000


def test_without_a_start_line_what_waits_is_doubtful_and_what_moves_is_not(painted: Painted) -> None:
    fixes, off = followed(painted, with_start=False)
    assert fixes[10] is None or fixes[10].quality == "doubtful"
    assert np.mean([fix is not None and fix.quality == "measured" for fix in fixes[80:]]) > 0.9
    assert np.median(off[80:]) < 5


def test_in_an_empty_tank_there_is_nothing(painted: Painted) -> None:
    recording = painted.recording
    assert recording.view is not None
    tracker = LiveTracker(recording.view, painted.rig.tank, recording.card.boat)
    frame = next(iter(recording.frames()))
    blank = np.full_like(frame.image, 150)
    still = [type(frame)(k, blank, k, "camera") for k in range(5)]
    assert [tracker.feed(f) for f in still] == [None] * 5


@pytest.mark.bench
def test_a_frame_costs_a_few_milliseconds(painted: Painted) -> None:
    began = time.process_time()
    followed(painted, with_start=True)
    print(f"{(time.process_time() - began) / 150 * 1e3:.1f} ms a frame, decoding included")


@pytest.fixture(scope="module")
def tagged(tmp_path_factory):
    return tagged_run(tmp_path_factory.mktemp("tagged live"), count=60)


def tracked(tagged, **tag) -> list:
    recording, rig, _, _ = tagged
    tracker = LiveTracker(recording.view, rig.tank, boat(**tag), start=rig.line("start"))
    return [tracker.feed(frame) for frame in recording.frames()]


def test_a_tag_on_the_card_gives_place_heading_and_bow(tagged) -> None:
    fixes = tracked(tagged)
    assert [fix.quality for fix in fixes[5:]] == ["measured"] * 55
    places, headings = tagged[2], tagged[3]
    assert max(np.hypot(fix.x_mm - x, fix.y_mm - y) for fix, (x, y) in list(zip(fixes, places, strict=True))[5:]) < 6
    assert max(abs(np.radians(f.heading_deg) - h) for f, h in list(zip(fixes, headings, strict=True))[5:]) < 0.04
    assert all(fix.bow_mm is not None for fix in fixes[5:])


def test_a_thing_that_was_never_seen_with_the_cards_tag_is_doubtful(tagged) -> None:
    fixes = [fix for fix in tracked(tagged, number=boat().tag.number + 1) if fix is not None]
    assert len(fixes) > 40
    assert {fix.quality for fix in fixes} <= {"doubtful", "bridged"}
