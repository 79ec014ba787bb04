from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from typing import Any

import pytest

from logger.config import Boat, RunCard
from logger.drivers.interface import Peopled
from logger.drivers.simulated_live import LiveOptions, SimulatedLiveCamera, SimulatedLiveGates, painted
from logger.records import Edge, Fault, Frame

WISHES: dict[str, Any] = {
    "tank_seed": 20, "tank_back_mm": 300.0, "tank_length_mm": 1100.0, "tank_width_mm": 500.0, "water_depth_mm": 90.0,
    "frame_rate_hz": 5.0, "speed_mm_per_s": 420.0,
}  # fmt: skip
CARD = RunCard("r3", "straight", "2026-05-04T10:15:00+02:00", Boat(name="Boat", length_mm=170.0, width_mm=60.0))


class Now:
    """A clock that goes on when somebody waits."""

    def __init__(self) -> None:
        self.t_ns = 10**12

    def __call__(self) -> int:
        return self.t_ns

    def wait(self, wait_s: float) -> None:
        self.t_ns += round(wait_s * 1e9)


class Until:
    """A stop that is set at a time of that clock."""

    def __init__(self, now: Now, after_s: float) -> None:
        self._now, self._until_ns = now, now.t_ns + round(after_s * 1e9)

    def is_set(self) -> bool:
        return self._now.t_ns > self._until_ns


@contextmanager
def sailing(device: Any, card: RunCard, *, on_go: bool = False) -> Iterator[Any]:
    assert isinstance(device, Peopled)
    device.expect(card)
    device.launch(card)
    device.set_off(10**12, on_go=on_go)
    with device:
        yield device


def edges(after_s: float, *, on_go: bool = False, go_at_s: float | None = None, **options: Any) -> list[Edge]:
    now = Now()
    gates = SimulatedLiveGates(LiveOptions(wishes=WISHES, **options), clock=now, wait=now.wait)
    with sailing(gates, CARD, on_go=on_go):
        if go_at_s is not None:
            gates.go(10**12 + round(go_at_s * 1e9))
        return [one for one in gates.records(Until(now, after_s)) if isinstance(one, Edge)]


def test_a_run_is_told_in_its_time_as_it_was_painted() -> None:
    made = painted(CARD, LiveOptions(wishes=WISHES), with_pictures=False)
    told = edges(15.0)
    assert [(one.gate, one.blocked) for one in told] == [(one.gate, one.blocked) for _, one in made.edges]
    assert [one.t_ns - 10**12 for one in told] == [t_ns for t_ns, _ in made.edges]


def test_a_boat_that_waits_for_the_word_goes_after_it_and_not_before() -> None:
    assert edges(15.0, on_go=True) == []
    told = edges(25.0, on_go=True, go_at_s=8.0)
    usual = edges(15.0)
    shifts = {late.t_ns - early.t_ns for late, early in zip(told, usual, strict=True)}
    assert len(shifts) == 1
    assert told[0].t_ns > 10**12 + 8.4e9


def test_mishaps_happen_in_the_run_that_they_are_named_for() -> None:
    usual = edges(15.0)
    assert len(edges(15.0, mishaps={"r3": "hand"})) == len(usual) + 2
    assert len(edges(15.0, mishaps={"r4": "hand"})) == len(usual)
    stuck = edges(40.0, mishaps={"r3": "stuck"})
    assert {one.gate for one in stuck} < {one.gate for one in usual}, "it never reaches the last beam"
    blocked = edges(15.0, mishaps={"r3": "beam_blocked"})
    assert blocked[0].blocked
    assert blocked[0].t_ns < usual[0].t_ns


def test_a_boat_that_does_not_wait_for_the_word_sets_off_without_it() -> None:
    early = edges(15.0, on_go=True, mishaps={"r3": "early"})
    assert [one.t_ns for one in early] == [one.t_ns for one in edges(15.0)]


def test_what_goes_wrong_between_the_beams_is_told_by_them() -> None:
    """How: see test_simulated_stage.py."""
    usual = edges(15.0)
    assert len(edges(15.0, mishaps={"r3": "broken_twice"})) == len(usual) + 2
    assert {one.gate for one in edges(30.0, mishaps={"r3": "turned_back"})} == {usual[0].gate}


@pytest.fixture(scope="module")
def camera() -> SimulatedLiveCamera:
    return SimulatedLiveCamera(
        LiveOptions(wishes=WISHES, mishaps={"r4": "camera_unplugged"}), clock=Now(), wait=Now().wait
    )


def seen(camera: SimulatedLiveCamera, card: RunCard, after_s: float) -> list[Frame | Fault]:
    now = Now()
    camera._clock, camera._wait = now, now.wait
    with sailing(camera, card):
        return [one for one in camera.records(Until(now, after_s)) if isinstance(one, Frame | Fault)]


def test_pictures_are_told_in_their_time_and_go_on_when_the_run_is_over(camera: SimulatedLiveCamera) -> None:
    told = seen(camera, CARD, 20.0)
    stamps = [one.t_ns for one in told]
    assert stamps == sorted(set(stamps))
    assert max(later - earlier for earlier, later in pairwise(stamps)) < 0.5e9
    assert stamps[-1] > 10**12 + 19e9
    assert isinstance(told[0], Frame)
    assert told[0].image.shape == (720, 1280, 3)


def test_a_cable_that_comes_off_is_a_lasting_fault_in_the_middle(camera: SimulatedLiveCamera) -> None:
    from dataclasses import replace

    told = seen(camera, replace(CARD, id="r4"), 20.0)
    assert isinstance(told[-1], Fault)
    assert told[-1].lasting
    assert len(told) > 10


def test_between_runs_the_tank_is_empty_and_still(camera: SimulatedLiveCamera) -> None:
    now = Now()
    camera._clock, camera._wait = now, now.wait
    with camera as there:
        pictures = [one for one in there.records(Until(now, 1.5)) if isinstance(one, Frame)]
    assert len(pictures) >= 5
    assert len({one.jpeg for one in pictures}) == 1
