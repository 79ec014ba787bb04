from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.results import witnesses
from logger.results.case import case_of


def steady(t: Any) -> Any:
    return 200 * t - 500


def heard(shop: Any, *edges: Any, camera: bool = True, events: Any = (), **asked: Any) -> Any:
    rig = shop.rig(**asked)
    flat = [e for span in edges for e in shop.edges(*span)]
    track = shop.track(steady, until_s=10) if camera else None
    return witnesses.testimony(case_of(shop.recording(rig, edges=flat, events=events), rig, track))


def test_a_hand_in_the_beam_is_not_the_boat_if_the_camera_says_so(shop: Any) -> None:
    """A beam broken a second before the boat got there, and again by the boat."""
    found = heard(shop, ("A", (1.0, 1.3)), ("A", (2.0, 3.0)), ("B", (8.0, 9.0)))
    assert found.first.time.value == pytest.approx(2.0)
    assert any("mm before it; perhaps a hand" in flag for flag in found.flags)


@pytest.mark.parametrize(
    ("breaks", "counted", "told"),
    [
        ([(1.0, 1.3), (2.0, 3.0)], 1, "number 2 counts: only then as much went through"),  # a hand, then the boat
        ([(1.0, 1.2), (2.0, 2.3), (3.5, 4.4)], 2, "broken 3 times before the end of the run; number 3 counts"),
        ([(2.0, 3.0), (3.5, 3.8)], 0, "the first counts"),  # the boat, then a hand
        ([(2.0, 3.0), (4.0, 5.0)], 0, "the first counts"),  # there, back and there again
        ([(1.0, 1.3), (2.5, 2.8)], 0, "the first counts"),  # nothing as long as the boat
        ([(1.0, 1.3), (2.0, 3.0), (3.5, 4.5)], 0, "the first counts"),  # two that may be the boat
    ],
)
def test_without_a_camera_the_break_that_is_as_long_as_the_boat_counts_else_the_first(
    shop: Any, breaks: list[tuple[float, float]], counted: int, told: str
) -> None:
    found = heard(shop, *(("A", span) for span in breaks), ("B", (8.0, 9.0)), camera=False)
    assert found.first.time.value == pytest.approx(breaks[counted][0] - breaks[0][0])  # its origin is the first edge
    assert any(told in flag for flag in found.flags)


def test_without_a_camera_and_a_length_on_the_card_the_first_break_counts(shop: Any) -> None:
    rig = shop.rig()
    edges = [e for span in (("A", (1.0, 1.3)), ("A", (2.0, 3.0)), ("B", (8.0, 9.0))) for e in shop.edges(*span)]
    recording = shop.recording(rig, edges=edges)
    card = replace(recording.card, boat=replace(recording.card.boat, length_mm=None))
    found = witnesses.testimony(case_of(replace(recording, card=card), rig, None))
    assert found.first.time.value == 0.0


def test_a_gate_that_missed_the_boat_is_replaced_by_the_camera(shop: Any) -> None:
    found = heard(shop, ("A", (2.0, 3.0)))
    assert (found.first.witness, found.last.witness) == ("gate", "camera")
    assert found.last.time.value == pytest.approx(8.0, abs=0.02)
    assert any("saw nothing when the camera saw the bow" in flag for flag in found.flags)


def test_a_disagreement_is_told_with_its_size_and_becomes_doubt(shop: Any) -> None:
    found = heard(shop, ("A", (2.0, 3.0)), ("B", (8.1, 9.1)))
    assert found.last.witness == "gate"
    assert found.last.time.u == pytest.approx(0.1 / 3**0.5, rel=0.05)
    assert any(
        "At the finish line the gate is 0.10" in flag and "later than the camera" in flag for flag in found.flags
    )


@pytest.mark.parametrize("offset_mm", [-4.0, 4.0])
def test_a_beam_off_its_line_is_corrected_by_the_way_a_starting_boat_made(shop: Any, offset_mm: float) -> None:
    """From rest 25 mm before the line at 100 mm/s², the bow is s past it after √(2(25 + s)/100) s.

    Offset over the speed in the beam would be 2 to 3 ms off.
    """
    since_go = lambda t: np.maximum(t - 1.0, 0.0)  # noqa: E731
    way = lambda t: -125.0 + np.where(since_go(t) < 3, 50 * since_go(t) ** 2, 450 + 300 * (since_go(t) - 3))  # noqa: E731
    rig = shop.rig()
    rig = replace(rig, gates=(replace(rig.gates[0], offset_mm=offset_mm, u_offset_mm=0.5), rig.gates[1]))
    broken, at_line = (1.0 + (2 * (25 + s) / 100) ** 0.5 for s in (offset_mm, 0.0))
    edges = shop.edges("A", (broken, broken + 1.3))
    track = shop.track(way, noise_mm=0.1)
    found = witnesses.testimony(case_of(shop.recording(rig, edges=edges), rig, track)).first
    assert found.witness == "gate"
    assert found.time.value == pytest.approx(at_line, abs=0.001)
    speed = (2 * 100 * 25) ** 0.5
    place = next(c for s, c in found.time.contributions.items() if s.name == "gate A place")
    assert abs(place) == pytest.approx(0.5 / speed, rel=0.05)


def test_an_early_start_is_told(shop: Any) -> None:
    found = heard(shop, ("A", (2.0, 3.0)), ("B", (8.0, 9.0)), camera=False, events=[(2.25, "go")])
    assert any(flag.startswith("Early start: the start beam broke 0.250 s before go") for flag in found.flags)


def test_a_passage_that_fits_no_boat_is_told(shop: Any) -> None:
    found = heard(shop, ("A", (2.0, 3.0)), ("B", (8.0, 9.9)), camera=False)
    assert any("the card says 200 mm" in flag for flag in found.flags)


def test_a_rig_without_lines_says_which(shop: Any) -> None:
    found = heard(shop, gates=False, lines=())
    assert found.first.reason == "The rig has no start line."


def test_a_finish_before_the_start_is_no_finish(shop: Any) -> None:
    found = heard(shop, ("A", (5.0, 6.0)), ("B", (2.0, 3.0)), camera=False)
    assert found.first
    assert found.last.reason == "Gate B did not see the boat."


def test_a_gate_that_knows_its_place_badly_is_met_half_way_by_the_camera(shop: Any) -> None:
    """2 mm of doubt at 200 mm/s are 10 ms; the camera knows the moment to 3 ms, and the mean is better than both.

    The gate is 10 ms late. Weights of least doubt, nothing being shared: 1/u² each (GUM 5.1.2; from memory).
    """
    edges = [*shop.edges("A", (2.01, 3.0)), *shop.edges("B", (8.0, 9.0))]
    track = shop.track(lambda t: 200 * t - 500, until_s=10)

    def first(rig: Any, own: Any) -> Any:
        return witnesses.testimony(case_of(shop.recording(rig, edges=own), rig, track)).first

    rig = shop.rig()
    both = first(replace(rig, gates=tuple(replace(gate, u_offset_mm=2.0) for gate in rig.gates)), edges)
    camera = first(shop.rig(gates=False), ())
    assert both.witness == "gate+camera"
    u_gate_s = 2.0 / 200
    assert both.time.u == pytest.approx((camera.time.u**-2 + u_gate_s**-2) ** -0.5, rel=0.02)
    share = (both.time.value - camera.time.value) / (2.01 - camera.time.value)
    assert share == pytest.approx(camera.time.u**2 / (camera.time.u**2 + u_gate_s**2), rel=0.05)
    assert first(rig, edges).witness == "gate"


def test_what_breaks_the_beam_while_the_boat_hardly_moves_says_nothing_of_the_bow(shop: Any) -> None:
    """The bow stands 12 mm before the line until 2 s; something breaks the beam at 1.2 s."""
    track = shop.track(lambda t: -112 + 200 * np.maximum(t - 2.0, 0.0), until_s=10.0)
    rig = shop.rig()
    edges = [*shop.edges("A", (1.2, 3.2)), *shop.edges("B", (8.06, 9.06))]
    found = witnesses.testimony(case_of(shop.recording(rig, edges=edges), rig, track))
    assert found.first.witness == "camera"
    assert abs(found.first.time.value - 2.06) < 3 * found.first.time.u
    assert any("hardly moved" in flag for flag in found.flags)
