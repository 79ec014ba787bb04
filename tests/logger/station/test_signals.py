"""Edges, positions and keys become the few words of the referee's table."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.config import Boat, Gate, Line, Rig, Rules, Tank
from logger.records import Edge, Fix, Key, KeyName
from logger.results.passages import passages
from logger.station.signals import Signal, Signals, room_mm

MS = 1_000_000
BOX = ((-100.0, -150.0), (1500.0, -150.0), (1500.0, 150.0), (-100.0, 150.0))
RIG = Rig(
    name="bench",
    tank=Tank(BOX, water_depth_mm=100.0),
    lines=(
        Line("start", "start", (0.0, -150.0), (0.0, 150.0)),
        Line("mark", "mark", (500.0, -150.0), (500.0, 150.0)),
        Line("finish", "finish", (1000.0, 150.0), (1000.0, -150.0)),
    ),
    gates=(Gate("A", "start"), Gate("B", "finish")),
)
GULL = Boat(name="Gull", length_mm=200.0, width_mm=190.0)
"""A round one: its bow and stern lie 100 mm from its centroid."""


def watching(rig: Rig = RIG, rules: Rules | None = None) -> Signals:
    return Signals(rig=rig, boat=GULL, rules=rules or Rules())


def edges(*times_ms: float, gate: str = "A", first: bool = True) -> list[Edge]:
    return [Edge(round(t * MS), gate, first ^ bool(n % 2), "gates") for n, t in enumerate(times_ms)]


def told(signals: Signals, records: list[Edge], until_ns: int = 10**12) -> list[Signal]:
    """All signals, those included that come true by waiting."""
    out: list[Signal] = []
    for record in [*records, None]:
        limit = record.t_ns - 1 if record else until_ns
        while due := [signal for at_ns, signal in signals.due() if at_ns <= limit]:
            out.append(due[0])
            signals.come_true(due[0])
        if record:
            out += signals.feed(record)
    return out


def fix(t_ms: float, x_mm: float, y_mm: float = 0.0, heading_deg: float = 0.0) -> Fix:
    return Fix(round(t_ms * MS), x_mm, y_mm, heading_deg, (1.0, 0.0, 1.0), "measured", "tracker")


def names(signals: list[Signal]) -> list[str]:
    return [signal.name for signal in signals]


# --- beams ---


def test_a_broken_beam_says_that_its_line_was_reached_when_it_broke() -> None:
    assert told(watching(), edges(10, 400)) == [Signal(10 * MS, "start", "beam A")]
    assert told(watching(), edges(10, 400, gate="B")) == [Signal(10 * MS, "finish", "beam B")]


def test_it_says_so_while_the_beam_is_still_blocked() -> None:
    signals = watching()
    signals.feed(edges(10)[0])
    assert signals.due() == [(12 * MS, Signal(10 * MS, "start", "beam A"))]


def test_a_pulse_shorter_than_any_boat_says_nothing() -> None:
    assert told(watching(), edges(10, 10.5)) == []


def test_chatter_counts_from_its_first_break_and_only_once() -> None:
    chatter = edges(10, 10.4, 11, 11.5, 13, 80, 85, 300)
    assert told(watching(), chatter) == [Signal(10 * MS, "start", "beam A")]


def test_a_second_boat_much_later_is_said_again() -> None:
    assert [signal.t_ns for signal in told(watching(), edges(10, 300, 2000, 2300))] == [10 * MS, 2000 * MS]


def test_a_clear_edge_alone_says_nothing() -> None:
    assert told(watching(), edges(10, first=False)) == []


@given(st.lists(st.integers(1, 60_000), min_size=1, max_size=14))
def test_the_first_break_is_the_one_that_the_measurement_will_find(steps_us: list[int]) -> None:
    """Same rule, two programs: live here, afterwards in results/passages.py."""
    t_us, times = 1000, []
    for step in steps_us:
        t_us += step
        times.append(t_us / 1000)
    train = edges(*times)
    boats = [p for p in passages(train) if "short" not in p.doubts]
    said = told(watching(), train)
    assert [signal.t_ns for signal in said[:1]] == [p.t_ns for p in boats[:1]]


# --- people ---


def test_arming_is_blocked_while_any_beam_is() -> None:
    signals = watching()
    assert names(signals.feed(Key(1, "arm", "panel"))) == ["arm"]
    signals.feed(Edge(5 * MS, "B", True, "gates"))
    (refused,) = signals.feed(Key(6 * MS, "arm", "panel"))
    assert (refused.name, refused.words) == ("arm_blocked", "the beam of B is blocked; clear it first")
    signals.feed(Edge(9 * MS, "B", False, "gates"))
    assert names(signals.feed(Key(10 * MS, "arm", "panel"))) == ["arm"]


@pytest.mark.parametrize(
    ("key", "said"),
    [("go", ["go"]), ("stop", ["stop"]), ("void", ["stop"]), ("did_not_finish", ["stop"]), ("freed", []), ("note", [])],
)
def test_keys(key: KeyName, said: list[str]) -> None:
    assert names(watching().feed(Key(1, key, "panel"))) == said


# --- the camera ---


def lines_said(rig: Rig, *fixes: Fix, roles: tuple[str, ...] = ("mark", "finish")) -> list[tuple[int, str]]:
    signals = watching(rig)
    heard = [signal for f in fixes for signal in signals.feed(f)]
    return [(s.t_ns // MS, s.name) for s in heard if s.name in roles]


def test_a_line_without_a_gate_is_reached_by_the_bow() -> None:
    assert lines_said(RIG, fix(0, 390), fix(33, 399), fix(67, 401), fix(100, 410)) == [(67, "mark")]


def test_a_line_with_a_gate_is_reached_for_the_camera_only_when_the_stern_is_over() -> None:
    assert lines_said(RIG, fix(0, 950), fix(33, 1050), fix(67, 1099), fix(100, 1101)) == [(100, "finish")]


def test_a_boat_first_seen_beyond_the_start_line_has_crossed_it_but_no_other_line() -> None:
    blind, roles = replace(RIG, gates=()), ("start", "mark", "finish")
    assert lines_said(blind, fix(0, -110), fix(33, -90), roles=roles) == [(33, "start")]
    assert lines_said(blind, fix(0, 950), roles=roles) == [(0, "start")]
    assert lines_said(blind, fix(0, -150), fix(1900, 450), roles=roles) == [(1900, "start"), (1900, "mark")]
    assert lines_said(blind, fix(0, -150), fix(2100, 450), roles=roles) == [(2100, "start")], "unseen for too long"


def test_which_end_of_a_line_is_written_first_does_not_matter() -> None:
    mark = replace(RIG.lines[1], a_mm=RIG.lines[1].b_mm, b_mm=RIG.lines[1].a_mm)
    turned = replace(RIG, lines=(RIG.lines[0], mark, RIG.lines[2]))
    assert lines_said(turned, fix(0, 399), fix(33, 401)) == [(33, "mark")]


def test_a_run_to_the_left_crosses_its_lines_to_the_left() -> None:
    lines = tuple(replace(line, a_mm=(-line.a_mm[0], -150.0), b_mm=(-line.b_mm[0], 150.0)) for line in RIG.lines)
    mirrored = replace(RIG, lines=lines)
    assert lines_said(mirrored, fix(0, -399, heading_deg=180), fix(33, -401, heading_deg=180)) == [(33, "mark")]


def test_a_line_is_not_crossed_backwards_nor_beside_it() -> None:
    short = replace(RIG, lines=(replace(RIG.lines[1], a_mm=(500.0, -40.0), b_mm=(500.0, 40.0)),), gates=())
    assert lines_said(RIG, fix(0, 401), fix(33, 399)) == []
    assert lines_said(short, fix(0, 399, 60), fix(33, 401, 60)) == []
    assert lines_said(short, fix(0, 399, 30), fix(33, 401, 30)) == [(33, "mark")]


def test_a_doubtful_position_says_nothing() -> None:
    signals = watching()
    doubtful = [replace(f, quality="doubtful") for f in (fix(0, 399), fix(33, 401))]
    assert [signal for f in doubtful for signal in signals.feed(f)] == []


@pytest.mark.parametrize(
    ("speed", "said"), [(0.0, "slow"), (9.0, "slow"), (12.0, None), (16.0, "moving"), (300.0, "moving")]
)
def test_slow_and_moving_have_a_gap_between_them(speed: float, said: str | None) -> None:
    signals = watching()
    heard: list[Signal] = []
    for n in range(31):
        heard = signals.feed(fix(n * 1000 / 30, 600 + speed * n / 30))
    assert [s for s in names(heard) if s in ("slow", "moving")] == ([said] if said else [])


def test_nothing_is_said_of_speed_before_three_quarters_of_a_second_were_seen() -> None:
    signals = watching()
    heard = [name for n in range(22) for name in names(signals.feed(fix(n * 1000 / 30, 600)))]
    assert "slow" not in heard
    assert "slow" in names(signals.feed(fix(750, 600)))


def test_places_that_jump_to_and_fro_by_some_millimetres_are_of_a_boat_at_rest() -> None:
    """Two places 5 mm apart, half of the time each: from one to the other in half a second would be 10 mm/s."""
    signals = watching()
    heard = [names(signals.feed(fix(n * 1000 / 30, 600 + 5.0 * (n * 7 % 4 < 2)))) for n in range(60)]
    assert all("slow" in one for one in heard[25:])


def test_the_bow_of_a_slender_boat_lies_farther_from_its_centroid_than_its_stern() -> None:
    slender = Signals(rig=RIG, boat=replace(GULL, width_mm=70.0), rules=Rules())
    assert "clear_of_wall" in names(slender.feed(fix(0, 1500 - 5 - 109.1)))
    assert "wall" in names(slender.feed(fix(33, 1500 - 5 - 108.9)))
    gated = Signals(rig=RIG, boat=replace(GULL, width_mm=70.0), rules=Rules())
    assert "finish" not in names([*gated.feed(fix(0, 1000 + 80)), *gated.feed(fix(33, 1000 + 90.9))])
    assert "finish" in names(gated.feed(fix(66, 1000 + 91.1)))


def test_a_boat_that_waits_right_behind_the_start_has_not_started_though_it_seems_over_it() -> None:
    """Its bow seems to be 9 mm over the line: it starts when it goes on."""
    waiting = Signals(rig=replace(RIG, gates=()), boat=GULL, rules=Rules())
    stands = [fix(33 * n, -91 + 0.3 * (n % 2)) for n in range(40)]
    said = [name for one in [*stands, fix(1353, -88)] for name in names(waiting.feed(one))]
    assert "start" not in said
    assert "start" in names(waiting.feed(fix(1386, -83)))


def test_a_ruler_knows_the_bow_better_than_what_is_usual() -> None:
    signals = watching()
    assert "clear_of_wall" in names(signals.feed(fix(0, 1384)))
    assert "wall" in names(signals.feed(replace(fix(33, 1384), bow_mm=112.0)))


def test_the_bow_touches_the_wall() -> None:
    assert "clear_of_wall" in names(watching().feed(fix(0, 1394)))
    assert "wall" in names(watching().feed(fix(0, 1396)))
    assert "wall" in names(watching().feed(fix(0, 700, 46, heading_deg=90)))
    assert "wall" in names(watching().feed(fix(0, 1450))), "beyond the wall is at the wall"


def test_room_to_the_wall_by_eye() -> None:
    corner = ((0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (10.0, 10.0), (10.0, 30.0), (0.0, 30.0))
    assert room_mm(corner, (5.0, 20.0)) == 5
    assert room_mm(corner, (20.0, 20.0)) == -10
    assert math.isclose(room_mm(corner, (9.0, 9.0)), math.hypot(1, 1))
