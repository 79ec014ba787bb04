"""The table: every state can be reached and left, the drawing is made from it, and runs end for the right reason."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from logger.config import KindOfRun, Rig, Rules
from logger.errors import InputError
from logger.recording.folder import Event
from logger.records import Edge, Fix, Key, KeyName, Quality, Quiet, Record
from logger.results.trial import EndReason
from logger.station.referee import NAME, Begin, Referee, State, diagram, table_of
from tests.logger.station.bench import CARD, RIG, S, edge

KINDS: tuple[KindOfRun, ...] = ("straight", "drift", "course", "cargo", "rings", "distance")
RULES = Rules(time_cap_s=20.0, stop_for_s=1.0)


def a_referee(
    kind: KindOfRun = "straight", begin: Begin = "hands_off", rules: Rules = RULES, rig: Rig = RIG
) -> Referee:
    return Referee(card=replace(CARD, kind=kind, rules=rules), rig=rig, begin=begin)


def key(t_s: float, name: KeyName) -> Key:
    return Key(round(t_s * S), name, "panel")


def beam(gate: str, t_s: float, clear_s: float | None = None) -> list[Record]:
    broken = edge(t_s, gate)
    return [broken] if clear_s is None else [broken, edge(clear_s, gate, blocked=False)]


def fixes(*points: tuple[float, float], quality: Quality = "measured") -> list[Record]:
    return [Fix(round(t * S), x, 0.0, 0.0, (1.0, 0.0, 1.0), quality, "tracker") for t, x in points]


def drifting_to(x_mm: float, *, stops_s: float, until_s: float, speed: float = 300.0) -> list[Record]:
    """At constant speed, then dead still at x_mm from stops_s on; 30 positions a second from second 3."""
    times = [3 + n / 30 for n in range(round((until_s - 3) * 30) + 1)]
    return fixes(*((t, x_mm - speed * max(0.0, stops_s - t)) for t in times))


def judged(referee: Referee, records: list[Record], until_s: float | None = None) -> list[tuple[float, str, str]]:
    for record in records:
        referee.feed(record)
    if until_s is not None:
        referee.past(round(until_s * S))
    return [(event.t_ns / S, event.event, event.detail) for event in referee.history]


# --- the table ---


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("begin", get_args(Begin))
def test_every_state_can_be_reached_and_left(kind: KindOfRun, begin: Begin) -> None:
    table = table_of(kind, begin)
    states = {state for state, _ in table} | {step.to for step in table.values()}
    reached: set[State] = {"waiting"}
    while more := {step.to for (state, _), step in table.items() if state in reached} - reached:
        reached |= more
    assert reached == states
    ending: set[State] = {"ended"}
    while more := {state for (state, _), step in table.items() if step.to in ending} - ending:
        ending |= more
    assert ending == states


def test_all_states_and_all_signals_are_used_by_some_kind() -> None:
    used = [pair for kind in KINDS for begin in get_args(Begin) for pair in table_of(kind, begin)]
    reached = {step.to for kind in KINDS for step in table_of(kind).values()}
    assert {state for state, _ in used} | reached == set(get_args(State))


@pytest.mark.parametrize("kind", KINDS)
def test_the_reasons_to_end_are_the_ones_that_a_trial_knows(kind: KindOfRun) -> None:
    reasons = {step.event for step in table_of(kind).values() if step.to == "ended"}
    assert reasons <= set(get_args(EndReason))
    assert all(step.event for step in table_of(kind).values() if step.to == "ended")


@pytest.mark.parametrize("kind", KINDS)
def test_a_run_can_end_from_every_state_when_all_sources_have_ended(kind: KindOfRun) -> None:
    table = table_of(kind)
    assert {state for state, signal in table if signal == "no_more"} == {state for state, _ in table}


def test_a_kind_without_rules_is_refused() -> None:
    with pytest.raises(InputError, match='found "load"; the referee knows straight, drift, course'):
        table_of("load")


def test_the_drawing_shows_every_step_once() -> None:
    text = diagram(table_of("straight"))
    assert text.startswith("stateDiagram-v2\n    [*] --> waiting\n")
    assert "    running --> ended: finish\n" in text
    assert text.count("-->") == len(table_of("straight")) + 2


@pytest.mark.parametrize("kind", KINDS)
def test_the_drawing_in_the_handbook_is_the_table(project: Path, kind: KindOfRun) -> None:
    handbook = project / "DEVELOPERS.md"
    if not handbook.exists() or "stateDiagram-v2" not in handbook.read_text(encoding="utf-8"):
        pytest.skip("DEVELOPERS.md has no state diagram yet")
    assert diagram(table_of(kind)) in handbook.read_text(encoding="utf-8")


# --- straight runs ---


def test_a_straight_run_from_arming_to_the_finish() -> None:
    referee = a_referee()
    records = [key(1, "arm"), *beam("A", 2, 2.4), *beam("B", 5, 5.4)]
    assert judged(referee, records) == [
        (1, "armed", ""),
        (2, "started", "beam A"),
        (5, "ended", "finish"),
    ]
    assert (referee.state, referee.ended_ns, referee.end_reason) == ("ended", 5 * S, "finish")
    assert {event.source for event in referee.history} == {NAME}


def test_each_call_returns_only_what_is_new() -> None:
    referee = a_referee()
    assert referee.feed(key(1, "arm")) == [Event(1 * S, "armed", NAME, "")]
    assert referee.feed(beam("A", 2)[0]) == []
    assert referee.past(2 * S + 1_999_999) == []
    assert referee.past(2 * S + 2_000_000) == [Event(2 * S, "started", NAME, "beam A")]
    assert referee.past(3 * S) == []


def test_nothing_counts_before_arming() -> None:
    assert judged(a_referee(), [*beam("A", 1, 1.3), *beam("B", 2, 2.3)], until_s=9) == []


def test_arming_is_refused_while_a_beam_is_blocked() -> None:
    referee = a_referee()
    records = [*beam("B", 0.5), key(1, "arm"), Edge(2 * S, "B", False, "gates"), key(3, "arm")]
    assert judged(referee, records) == [
        (1, "arming_refused", "the beam of B is blocked; clear it first"),
        (3, "armed", ""),
    ]


def test_the_finish_beam_before_the_start_beam_is_a_hand() -> None:
    records = [key(1, "arm"), *beam("B", 2, 2.2), *beam("A", 3, 3.4), *beam("B", 6, 6.4)]
    assert judged(a_referee(), records)[-1] == (6, "ended", "finish")


def test_chatter_and_false_pulses_do_not_end_a_run() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), *beam("B", 3, 3.0005), *beam("A", 3.1, 3.2), *beam("B", 5, 5.4)]
    assert [event for _, event, _ in judged(a_referee(), records)] == ["armed", "started", "ended"]
    assert judged(a_referee(), records)[-1][0] == 5


def test_a_false_pulse_does_not_start_a_run() -> None:
    assert judged(a_referee(), [key(1, "arm"), *beam("A", 2, 2.001)], until_s=99) == [(1, "armed", "")]


def test_the_time_is_up() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4)]
    assert judged(a_referee(), records, until_s=21.999)[-1][1] == "started"
    assert judged(a_referee(), records, until_s=22)[-1] == (22, "ended", "time_cap")


def test_a_late_look_judges_by_stamps_not_by_when_it_looks() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), *beam("B", 25, 25.4)]
    assert judged(a_referee(), records, until_s=60)[-1] == (22, "ended", "time_cap")


def test_a_finish_at_the_very_deadline_is_a_finish_only_if_the_boat_was_long_enough_in_the_beam() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), *beam("B", 21.997, 22.4)]
    assert judged(a_referee(), records)[-1] == (21.997, "ended", "finish")


def test_nothing_happens_after_the_end() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), *beam("B", 5, 5.4), key(6, "arm"), key(7, "stop")]
    referee = a_referee()
    assert judged(referee, records, until_s=100)[-1] == (5, "ended", "finish")
    assert referee.no_more(101 * S) == []


@pytest.mark.parametrize("name", ["stop", "void", "did_not_finish"])
def test_a_person_ends_a_run(name: KeyName) -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), key(4, name)]
    assert judged(a_referee(), records)[-1] == (4, "ended", "stopped_by_hand")


def test_a_person_disarms_and_arms_again() -> None:
    records = [key(1, "arm"), key(2, "stop"), *beam("A", 3, 3.4), key(4, "arm"), *beam("A", 5, 5.4)]
    assert [event for _, event, _ in judged(a_referee(), records)] == ["armed", "disarmed", "armed", "started"]


@pytest.mark.parametrize(
    ("records", "state"), [([], "waiting"), ([key(1, "arm")], "armed"), ([key(1, "arm"), *beam("A", 2, 3)], "running")]
)
def test_when_all_sources_end_the_run_ends(records: list[Record], state: str) -> None:
    referee = a_referee()
    judged(referee, records)
    assert referee.state == state
    assert [event.detail for event in referee.no_more(9 * S)] == ["recording_ended"]
    assert referee.ended_ns == 9 * S


# --- the word go ---


def test_go_releases_and_the_start_line_starts() -> None:
    records = [key(1, "arm"), key(2, "go"), *beam("A", 3, 3.4), *beam("B", 5, 5.4)]
    for begin in get_args(Begin):
        events = [event for _, event, _ in judged(a_referee(begin=begin), records)]
        assert events == ["armed", "released", "started", "ended"]


def test_a_boat_that_starts_before_the_word_must_be_armed_again() -> None:
    records = [key(1, "arm"), *beam("A", 2, 2.4), key(3, "go"), key(4, "arm"), key(5, "go"), *beam("A", 6, 6.4)]
    assert [(t, event) for t, event, _ in judged(a_referee(begin="on_go"), records)] == [
        (1, "armed"), (2, "early_start"), (4, "armed"), (5, "released"), (6, "started"),
    ]  # fmt: skip


# --- courses, and runs against time ---


def test_a_course_ends_at_the_finish_line() -> None:
    events = judged(a_referee("course"), [*UNDER_WAY, *beam("B", 5, 5.4)])
    assert events[-1] == (5, "ended", "finish")


@pytest.mark.parametrize("kind", ["cargo", "rings", "distance"])
def test_where_something_is_counted_the_time_ends_the_run_and_no_line(kind: KindOfRun) -> None:
    rules = replace(RULES, time_cap_s=20.0)
    events = judged(a_referee(kind, rules=rules), [*UNDER_WAY, *beam("B", 5, 5.4), Quiet(40 * S, "gates")])
    assert events[-1] == (22, "ended", "time_cap")


# --- drift runs ---

UNDER_WAY = [key(1, "arm"), *beam("A", 2, 2.4)]


def test_a_boat_comes_to_rest_after_the_mark() -> None:
    referee = a_referee("drift")
    events = judged(referee, [*UNDER_WAY, *drifting_to(900, stops_s=5, until_s=8)])
    assert [event for _, event, _ in events] == ["armed", "started", "passed_mark", "ended"]
    assert events[2][0] == pytest.approx(3 + (1 / 3), abs=1 / 30), "bow at 500 mm: centroid at 400 mm, 300 mm/s"
    assert events[3][2] == "at_rest"
    assert 6.6 < events[3][0] < 6.8, "slow over three quarters of a second, then one second more"


def test_a_boat_that_moves_again_is_not_at_rest() -> None:
    pause = [(3 + n / 30, 600.0 if n < 30 else 600 + 5.0 * (n - 30)) for n in range(90)]
    referee = a_referee("drift")
    events = judged(referee, [*UNDER_WAY, *fixes((2.9, 350), (2.95, 450)), *fixes(*pause)])
    assert [event for _, event, _ in events] == ["armed", "started", "passed_mark"]
    assert referee.state == "drifting"


def test_a_boat_at_the_wall_has_ended_after_a_while() -> None:
    events = judged(a_referee("drift"), [*UNDER_WAY, *drifting_to(1597, stops_s=7, until_s=9)])
    assert events[-1][2] == "wall"
    assert 7.9 < events[-1][0] < 8.1


def test_a_bow_that_only_brushes_the_wall_goes_on() -> None:
    bounce = fixes(*((3 + n / 30, 1590 - 3 * abs(20 - n)) for n in range(40)))
    referee = a_referee("drift")
    judged(referee, [*UNDER_WAY, *fixes((2.9, 399), (2.95, 401)), *bounce])
    assert referee.state == "drifting"


def test_a_drift_is_capped_too() -> None:
    slow_but_moving = fixes(*((3 + n / 10, 300 + 2.5 * n) for n in range(300)))
    assert judged(a_referee("drift"), [*UNDER_WAY, *slow_but_moving])[-1] == (22, "ended", "time_cap")


def test_a_boat_at_rest_before_the_mark_waits_for_a_person_or_the_cap() -> None:
    referee = a_referee("drift")
    judged(referee, [*UNDER_WAY, *drifting_to(200, stops_s=3, until_s=9)])
    assert referee.state == "running"


def test_a_drift_rig_without_a_start_line_begins_at_the_mark() -> None:
    rig = replace(RIG, lines=RIG.lines[1:2], gates=())
    events = judged(a_referee("drift", rig=rig), [key(1, "arm"), *drifting_to(900, stops_s=5, until_s=8)])
    assert [event for _, event, _ in events] == ["armed", "passed_mark", "ended"]


def test_a_boat_that_the_start_beam_missed_has_started_when_the_camera_sees_it_beyond() -> None:
    events = judged(a_referee("drift"), [key(1, "arm"), *drifting_to(900, stops_s=5, until_s=8)])
    assert [event for _, event, _ in events] == ["armed", "started", "passed_mark", "ended"]


def test_no_rest_is_needed_where_the_rules_say_so() -> None:
    at_once = Rules(stop_for_s=0.0)
    events = judged(a_referee("drift", rules=at_once), [*UNDER_WAY, *drifting_to(900, stops_s=5, until_s=8)])
    assert events[-1][1:] == ("ended", "at_rest")


def test_a_position_stamped_a_little_in_the_past_changes_nothing_that_is_decided() -> None:
    referee = a_referee("drift")
    judged(referee, [*UNDER_WAY, *fixes((2.9, 399), (2.95, 401))], until_s=22)
    assert referee.end_reason == "time_cap"
    assert referee.feed(fixes((21.9, 700))[0]) == []
