from __future__ import annotations

from typing import Any

import pytest

from calibration.quantity import Quantity
from logger.config import Gate, Rules
from logger.results import gates
from logger.results.budget import Owner
from logger.results.passages import passages


def found(shop: Any, gate: str, *spans: tuple[float, float]) -> Any:
    return passages(shop.edges(gate, *spans))


def test_the_first_break_after_go_is_the_start_and_the_next_at_the_end_gate_the_end(shop: Any) -> None:
    start = found(shop, "A", (0.5, 0.9), (2.0, 2.8), (9.0, 9.5))
    end = found(shop, "B", (1.0, 1.2), (6.5, 7.3), (9.5, 9.9))
    pair = gates.pair(start, end, go_ns=shop.ns(1.5), from_ns=shop.ns(0), until_ns=None)
    assert (pair.start.t_ns, pair.end.t_ns, pair.early) == (shop.ns(2.0), shop.ns(6.5), False)


def test_a_break_only_before_go_is_an_early_start(shop: Any) -> None:
    pair = gates.pair(found(shop, "A", (1.9, 2.7)), (), go_ns=shop.ns(2.0), from_ns=shop.ns(0), until_ns=None)
    assert pair.early
    assert pair.start.t_ns == shop.ns(1.9)
    assert pair.end is None


def test_specks_and_what_lies_outside_the_run_do_not_count(shop: Any) -> None:
    start = found(shop, "A", (0.2, 0.6), (1.0, 1.0004), (2.0, 2.8))
    pair = gates.pair(start, (), go_ns=None, from_ns=shop.ns(0.7), until_ns=shop.ns(5))
    assert pair.start.t_ns == shop.ns(2.0)
    assert gates.pair(start, (), go_ns=None, from_ns=shop.ns(3), until_ns=None).start is None


def test_the_beam_past_the_line_trips_later_by_offset_over_speed(shop: Any) -> None:
    gate = Gate("A", "start", offset_mm=12.0, u_offset_mm=1.5, u_stamp_s=0.0002)
    (one,) = found(shop, "A", (2.0, 2.8))
    at = gates.at_line(one, gate, gates.GatesClock(shop.zero_ns, "r"), speed=Quantity(240.0, "mm/s"))
    assert at.value == pytest.approx(2.0 - 0.05)
    assert at.u == pytest.approx((0.0002**2 + (1.5 / 240) ** 2) ** 0.5)


def test_speed_from_the_time_in_the_beam(shop: Any) -> None:
    owner = Owner("r", shop.boat(length_mm=200.0, u_length_mm=1.0))
    (one,) = found(shop, "A", (2.0, 2.8))
    speed = gates.passing_speed(one, owner)
    assert speed.value == pytest.approx(250)
    assert speed.u == pytest.approx(((1 / 0.8) ** 2 + 7.5**2) ** 0.5)
    assert gates.passing_speed(one, Owner("r", shop.boat(length_mm=None))) is None
    # from rest at go, even push: after 1.6 s it has 1.6/(1.6 + 0.4) of the mean speed over the next 0.8 s
    assert gates.speed_at_first(one, owner, since_go_s=1.6).value == pytest.approx(200)
    assert gates.speed_at_first(one, owner, since_go_s=None).value < 200
    assert gates.speed_at_cut(one, owner).value > 250


def test_the_distance_of_the_beams_is_the_tape_or_lines_and_places(shop: Any) -> None:
    first, last = Gate("A", "start", 10.0, 1.0), Gate("B", "finish", -5.0, 1.0)
    rig = shop.rig(gates=(first, last))
    ends = (first, rig.lines[0]), (last, rig.lines[1])
    by_place = gates.beam_distance(*ends, rig)
    assert by_place.value == 1185
    assert by_place.u == pytest.approx((2 * 1.0 + 2 * 0.25) ** 0.5)
    taped = gates.beam_distance(*ends, shop.rig(gates=(first, last), gate_distance_mm=1183.0, u_gate_distance_mm=2.0))
    assert (taped.value, taped.u) == (1183, 2)


def test_every_gate_of_the_rig_is_listed(shop: Any) -> None:
    listed = gates.all_passages(shop.edges("A", (2.0, 2.8)), shop.rig(), Rules())
    assert {name: len(p) for name, p in listed.items()} == {"A": 1, "B": 0}
