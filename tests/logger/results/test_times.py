from __future__ import annotations

import pytest

from calibration.quantity import Quantity, Source
from logger.results import times
from logger.results.crossings import Reached


def at(line: str, value: float, parts: dict[Source, float], witness: str = "camera") -> Reached:
    return Reached(line, Quantity(value, "s", parts), witness)  # type: ignore[arg-type]


def test_the_cameras_delay_cancels_between_its_own_moments() -> None:
    delay = Source("camera delay")
    first, last = (at("l", t, {delay: -0.01, Source(f"positions {t}"): 0.002}) for t in (1.0, 4.0))
    assert times.elapsed(first, last).value == 3.0
    assert times.elapsed(first, last).u == pytest.approx(0.002 * 2**0.5)
    assert times.joint_witness(first, last) == "camera"


def test_it_does_not_cancel_against_a_gate() -> None:
    first, last = at("l", 1.0, {Source("stamp"): 0.0001}, "gate"), at("l", 4.0, {Source("camera delay"): -0.01})
    assert times.elapsed(first, last).u == pytest.approx(0.01, rel=1e-3)
    assert times.joint_witness(first, last) == "gate+camera"


def test_one_outline_in_two_speeds_leaves_the_difference() -> None:
    """Bow 2 mm farther: 2/250 s earlier at the start and 2/300 s earlier at the finish."""
    outline = Source("boat outline")
    first, last = at("l", 1.0, {outline: -2 / 250}), at("l", 4.0, {outline: -2 / 300})
    assert times.elapsed(first, last).u == pytest.approx(2 / 250 - 2 / 300)


def test_time_from_go_has_the_doubt_of_its_stamp() -> None:
    found = times.since_go(at("l", 4.0, {}), go_s=0.5, run_id="r")
    assert (found.value, found.u) == (3.5, times.U_GO_S)
