from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from calibration.beams import solve_beams
from calibration.quantity import Source
from logger.config import CameraSetup, Gate
from logger.records import Edge
from logger.results.case import Case, case_of
from logger.results.sightings import UNMEASURED_DELAY_S, sighted, u_delay_s
from logger.vision.track import DOUBTFUL
from tests.bench import gates as bench

from .conftest import Workshop

CAMERA = CameraSetup(None, "camera.toml", u_delay_s=0.001)
HALF_MM = 100.0
"""From the middle of the workshop's boat to its bow."""


def case(shop: Workshop, spans: dict[str, list[tuple[float, float]]], way: Any = None, **rig: Any) -> Case:
    """A boat at 200 mm/s from x = -300 mm, unless another `way` is given; beams as in `spans`."""
    known = shop.rig(**({"camera": CAMERA} | rig))
    edges: list[Edge] = [e for gate, each in spans.items() for e in shop.edges(gate, *each)]
    track = shop.track(way or (lambda t: -300.0 + 200.0 * t), until_s=9.0, noise_mm=0.1)
    recording = shop.recording(known, edges=sorted(edges, key=lambda e: e.t_ns))
    return case_of(recording, known, track)


# the bow is at x = -200 + 200·t; at the start line (0) at 1.0 s, at the finish (1200) at 7.0 s
BOTH = {"A": [(1.05, 2.0)], "B": [(6.98, 8.0)]}


def test_the_bow_at_the_break_says_where_the_beam_is(shop: Workshop) -> None:
    found = sighted(case(shop, BOTH), "pull 1")
    places = {s.gate: s.past_mm for s in found.sightings}
    assert places["A"] == pytest.approx(10.0, abs=0.2)  # 0.05 s at 200 mm/s
    assert places["B"] == pytest.approx(-4.0, abs=0.2)
    assert found.notes == ()


def test_each_sighting_knows_what_it_shares(shop: Workshop) -> None:
    (first, _) = sighted(case(shop, BOTH), "pull 1").sightings
    assert first.speed_mm_per_s == pytest.approx(200.0, rel=0.01)
    assert first.parts_mm[Source("camera delay")] == pytest.approx(0.2, rel=0.01)  # 1 ms at 200 mm/s
    outline = next(part for source, part in first.parts_mm.items() if source.name == "boat outline")
    assert outline == pytest.approx(0.4)
    assert 0.0 < first.u_mm < 1.0


def test_a_boat_pulled_back_is_seen_by_its_other_end(shop: Workshop) -> None:
    """From x = 1500 at -200 mm/s, bow behind it as it goes: its foremost point is 100 mm before its middle."""
    back = case(shop, {"A": [(7.0, 7.9)], "B": [(1.0, 1.9)]}, lambda t: 1500.0 - 200.0 * t)
    found = {s.gate: s for s in sighted(back, "back").sightings}
    assert found["B"].past_mm == pytest.approx(0.0, abs=0.2)  # middle at 1300, less 100
    assert found["A"].past_mm == pytest.approx(0.0, abs=0.2)
    assert found["A"].speed_mm_per_s == pytest.approx(-200.0, rel=0.01)
    outline = next(part for source, part in found["A"].parts_mm.items() if source.name == "boat outline")
    assert outline == pytest.approx(-0.4)


def test_a_beam_broken_far_from_the_boat_is_not_used_and_told(shop: Workshop) -> None:
    found = sighted(case(shop, {"A": [(3.0, 3.5)], "B": [(6.98, 8.0)]}), "pull 1")
    assert [s.gate for s in found.sightings] == ["B"]
    assert found.notes == ("pull 1: gate A broke while the bow was 400 mm past its line; not used",)


def test_gates_that_are_swapped_are_recognised(shop: Workshop) -> None:
    found = sighted(case(shop, {"B": [(1.0, 2.0)], "A": [(7.0, 8.0)]}), "pull 1")
    assert found.sightings == ()
    assert set(found.elsewhere) == {("A", "finish"), ("B", "start")}


def test_a_gate_that_saw_nothing_is_told(shop: Workshop) -> None:
    assert sighted(case(shop, {"B": [(6.98, 8.0)]}), "p").notes == ("p: gate A was not broken by anything like a boat",)


def test_a_boat_that_stands_in_the_beam_says_nothing(shop: Workshop) -> None:
    def creeping(t: np.ndarray) -> np.ndarray:
        return -110.0 + 5.0 * t

    found = sighted(case(shop, {"A": [(4.0, 8.0)]}, creeping), "p")
    assert found.sightings == ()
    assert "p: the boat nearly stood in gate A; not used" in found.notes


def test_without_the_camera_there_is_no_sighting(shop: Workshop) -> None:
    rig = shop.rig(camera=CAMERA)
    recording = shop.recording(rig, edges=shop.edges("A", (1.0, 2.0)))
    found = sighted(case_of(recording, rig, None), "p")
    assert found.sightings == ()
    assert found.notes == ("p: There are no pictures of this run.",)


def test_a_break_that_the_camera_did_not_see_is_told(shop: Workshop) -> None:
    found = sighted(case(shop, {"A": [(20.0, 21.0)]}), "p")
    assert found.sightings == ()
    assert "p: the camera did not surely see the boat when gate A broke" in found.notes


def test_a_track_that_is_doubtful_throughout_measures_no_gates_and_says_why_once(shop: Workshop) -> None:
    rig = shop.rig(camera=CAMERA)
    edges = sorted((e for g, each in BOTH.items() for e in shop.edges(g, *each)), key=lambda e: e.t_ns)
    track = shop.track(lambda t: -300.0 + 200.0 * t, until_s=9.0, flags=("the hull was not seen",))
    doubtful = replace(track, quality=np.full(len(track.t_ns), DOUBTFUL, np.uint8))
    found = sighted(case_of(shop.recording(rig, edges=edges), rig, doubtful), "p")
    assert found.sightings == ()
    assert found.notes == ("p: the camera's word is too doubtful to measure gates with (the hull was not seen)",)


def test_a_delay_that_nobody_measured_is_not_taken_for_exact() -> None:
    assert u_delay_s(None) == 0.0
    assert u_delay_s(CAMERA) == 0.001
    assert u_delay_s(replace(CAMERA, u_delay_s=0.0)) == UNMEASURED_DELAY_S


def test_a_gate_at_a_slanted_line_counts_along_the_lines_normal(shop: Workshop) -> None:
    rig = shop.rig(camera=CAMERA)
    slanted = replace(rig.lines[1], a_mm=(1230.0, -300.0), b_mm=(1170.0, 300.0))
    found = sighted(
        case(shop, BOTH, lines=(rig.lines[0], slanted), gates=(Gate("A", "start"), Gate("B", "finish"))), "p"
    )
    finish = next(s for s in found.sightings if s.gate == "B")
    # a corner of the slanted bow leads, and the way is shorter by the cosine; by hand: -4·cos(5.71°) for the tip
    assert finish.past_mm == pytest.approx(-4.0 * np.cos(np.arctan(0.1)), abs=0.3)


def test_over_many_simulated_pulls_the_doubt_covers_the_truth() -> None:
    """30 cases of four pulls through three tanks, everything off by as much as stated (`tests/bench/gates.py`)."""
    found = bench.many(30, tanks=3, seed=4)
    share, ratio, rms_mm = bench.held(found, "beam")
    assert 0.86 <= share <= 1.0
    assert 0.6 < ratio < 1.3
    assert rms_mm < 2.0


def test_the_solution_is_not_where_the_rig_file_says(shop: Workshop) -> None:
    fit = solve_beams(sighted(case(shop, BOTH), "pull 1").sightings)
    assert fit.places["A"].value == pytest.approx(10.0, abs=0.2)
