"""One run without threads: what is written, when it is over, and that arrival leaves no trace."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.config import RunCard
from logger.recording.folder import Event, load
from logger.recording.journal import Journal
from logger.records import Fault, Fix, Frame, Key, Quiet, Record
from logger.station.line import Line as StraightLine
from logger.station.line import LiveTracker, Plan
from tests.logger.station.bench import CARD, RIG, S, edge

ARM = Key(1 * S, "arm", "panel")
PASSING = [edge(2, "A"), edge(2.4, "A", blocked=False), edge(5, "B"), edge(5.3, "B", blocked=False)]


def quiet(t_s: float, *sources: str) -> list[Quiet]:
    return [Quiet(round(t_s * S), source) for source in sources]


class Ran:
    """A line fed with records, its journal closed, everything that it left behind."""

    def __init__(
        self,
        folder: Path,
        records: Iterable[Record | str],
        *,
        sources: Sequence[str] = ("gates", "panel"),
        card: RunCard = CARD,
        tracker: LiveTracker | None = None,
        tail_s: float = 0.5,
    ) -> None:
        plan = Plan(card, RIG, folder, tail_s=tail_s)
        self.shown: list[Event] = []
        self.done: list[Record] = []
        with Journal(folder, card=card, rig=RIG, sync=lambda _: None) as journal:
            line = StraightLine(plan, sources=sources, journal=journal, tracker=tracker, show=self.shown.append)
            for record in records:
                self.done += line.end(record) if isinstance(record, str) else line.feed(record)
        self.line, self.is_over, self.history = line, line.is_over, line.history
        self.files = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_a_run_is_written_judged_and_over(tmp_path: Path) -> None:
    ran = Ran(tmp_path / "run", [*quiet(0.5, "gates", "panel"), ARM, *PASSING, *quiet(6, "gates", "panel")])
    assert ran.is_over
    assert [(event.event, event.detail) for event in ran.history] == [
        ("armed", ""), ("started", "beam A"), ("ended", "finish"),
    ]  # fmt: skip
    assert tuple(ran.shown) == ran.history
    recording = load(tmp_path / "run")
    assert [(e.t_ns, e.gate, e.blocked) for e in recording.edges] == [(e.t_ns, e.gate, e.blocked) for e in PASSING]
    assert [event.event for event in recording.events] == ["arm", "armed", "started", "ended", "closed"]


def test_the_recording_says_how_far_it_goes(tmp_path: Path) -> None:
    def closed_s(folder: Path) -> float:
        return next(event.t_ns / S for event in load(folder).events if event.event == "closed")

    Ran(tmp_path / "whole", [ARM, *PASSING, *quiet(60, "gates", "panel")])
    assert closed_s(tmp_path / "whole") == 5.5
    Ran(tmp_path / "early", [ARM, *PASSING[:2], *quiet(3, "gates"), "panel", "gates"])
    assert closed_s(tmp_path / "early") == 3


def test_a_boat_that_is_still_in_the_beam_is_waited_for(tmp_path: Path) -> None:
    """Or the time that it took to pass, and so its speed, would be unknown for every slow boat."""

    def recorded(folder: Path, *last: Record) -> tuple[list[float], float]:
        Ran(folder, [ARM, *PASSING[:3], *last, *quiet(60, "gates", "panel")])
        closed = next(event.t_ns / S for event in load(folder).events if event.event == "closed")
        return [e.t_ns / S for e in load(folder).edges][3:], closed

    assert recorded(tmp_path / "slow", edge(7, "B", blocked=False)) == ([7.0], 7.0)
    chatter = [edge(5.1, "B", blocked=False), edge(5.2, "B"), edge(6, "B", blocked=False)]
    assert recorded(tmp_path / "chatter", *chatter) == ([5.1, 5.2, 6.0], 6.0)
    assert recorded(tmp_path / "stuck", edge(8.1, "B", blocked=False)) == ([], 8.0)
    gone = [edge(5.4, "B", blocked=False), edge(5.6, "A"), edge(6, "A", blocked=False)]
    assert recorded(tmp_path / "next boat", *gone) == ([5.4], 5.5)


def test_it_is_not_over_before_everybody_has_spoken_past_the_tail(tmp_path: Path) -> None:
    early = [ARM, *PASSING, *quiet(60, "gates"), *quiet(5.4999, "panel")]
    assert not Ran(tmp_path / "early", early).is_over
    assert Ran(tmp_path / "late", [*early, *quiet(5.5, "panel")]).is_over


def test_what_comes_after_the_tail_is_not_of_this_run_however_early_it_arrived(tmp_path: Path) -> None:
    next_boat = [edge(5.5, "A"), edge(5.6, "A", blocked=False)]
    ran = Ran(tmp_path / "run", [*PASSING, *next_boat, *quiet(9, "gates"), ARM, *quiet(9, "panel")])
    assert [e.t_ns for e in load(tmp_path / "run").edges] == [e.t_ns for e in [*PASSING, next_boat[0]]]
    assert ran.is_over


def test_everything_fed_is_done_with_in_the_end_exactly_once(tmp_path: Path) -> None:
    broken_word = edge(0.1, "A")
    records: list[Record] = [*quiet(0.5, "gates", "panel"), broken_word, ARM, *PASSING, *quiet(6, "gates", "panel")]
    done = Ran(tmp_path / "run", records).done
    assert sorted(map(id, done)) == sorted(map(id, records))


def test_when_every_source_has_ended_the_run_has_ended(tmp_path: Path) -> None:
    ran = Ran(tmp_path / "run", [ARM, *PASSING[:2], *quiet(3, "gates"), "panel", "gates"])
    assert ran.is_over
    assert (ran.history[-1].event, ran.history[-1].detail, ran.history[-1].t_ns) == ("ended", "recording_ended", 3 * S)


def test_the_end_of_one_source_does_not_end_the_run(tmp_path: Path) -> None:
    ran = Ran(tmp_path / "run", [ARM, *quiet(1.5, "panel"), "panel", *PASSING, *quiet(6, "gates")])
    assert ran.history[-1].detail == "finish"


def test_a_source_that_fell_silent_is_given_up_and_the_rest_goes_on(tmp_path: Path) -> None:
    plan = Plan(CARD, RIG, tmp_path / "run")
    with Journal(plan.folder, card=CARD, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(plan, sources=["gates", "panel", "camera"], journal=journal)
        for record in [Quiet(0, "camera"), ARM, *PASSING, *quiet(6, "gates", "panel")]:
            line.feed(record)
        assert line.history == ()
        line.lose("camera", 5.0)
        line.lose("camera", 5.0)
    assert line.is_over
    faults = [event for event in load(tmp_path / "run").events if event.event == "fault"]
    assert [(event.source, event.t_ns) for event in faults] == [("camera", 1)]
    assert "nothing was heard from camera for 5 s" in faults[0].detail


def test_a_fault_is_written_where_it_happened(tmp_path: Path) -> None:
    fault = Fault(round(2.2 * S), "gates", "edges lost", "check the plug", since_ns=2 * S)
    records = [ARM, PASSING[0], fault, *PASSING[1:], *quiet(6, "gates", "panel")]
    Ran(tmp_path / "run", records)
    events = load(tmp_path / "run").events
    assert [event.event for event in events] == ["arm", "armed", "started", "fault", "ended", "closed"]


def test_what_waits_long_for_a_hung_source_is_written_before_its_turn_and_only_once(tmp_path: Path) -> None:
    plan = Plan(CARD, RIG, tmp_path / "run", is_live=True)
    with Journal(plan.folder, card=CARD, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(plan, sources=["gates", "panel", "camera"], journal=journal)
        edges = journal.growing / "edges.csv"
        for record in [ARM, *PASSING[:2]]:
            line.feed(record)
        line.write_waiting()
        journal.flush()
        assert edges.read_text() == "t_ns,gate,level,count\n", "it has not waited long yet"
        line.feed(PASSING[2])
        line.write_waiting()
        journal.flush()
        assert len(edges.read_text().splitlines()) == 3
        line.write_waiting()
        for record in [PASSING[3], *quiet(6, "gates", "panel", "camera")]:
            line.feed(record)
    assert line.history[-1].detail == "finish"
    assert [e.t_ns for e in load(tmp_path / "run").edges] == [e.t_ns for e in PASSING]


def test_records_fed_together_are_as_if_fed_one_by_one(tmp_path: Path) -> None:
    records = [ARM, *PASSING, *quiet(6, "gates", "panel")]
    one_by_one = Ran(tmp_path / "one", records)
    plan = Plan(CARD, RIG, tmp_path / "all")
    with Journal(plan.folder, card=CARD, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(plan, sources=["gates", "panel"], journal=journal)
        assert line.feed_all(records) == [*quiet(6, "gates", "panel"), ARM, *PASSING]
    assert line.is_over
    assert line.history == one_by_one.history
    assert {path.name: path.read_bytes() for path in sorted(plan.folder.iterdir())} == one_by_one.files


def test_nothing_of_what_has_left_is_held_on_to(tmp_path: Path) -> None:
    """Half an hour would fill the memory otherwise."""
    plan = Plan(CARD, RIG, tmp_path / "run", is_live=True)
    with Journal(plan.folder, card=CARD, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(plan, sources=["gates", "panel"], journal=journal)
        for second in range(1, 200):
            line.feed_all(edge(second + 0.001 * n, "A", blocked=n % 2 == 0) for n in range(100))
            line.write_waiting()
            line.write_waiting()
            line.feed_all(quiet(second + 0.9, "gates", "panel"))
            assert line._settled.waiting() == []
            assert (line._held, line._written) == (set(), set())
        line.write_waiting()
        assert line._waited == {}


def test_what_the_recorder_has_to_say_is_shown(tmp_path: Path) -> None:
    plan, shown, now_ns = Plan(CARD, RIG, tmp_path / "run", is_live=True), [], [0]
    goes_on = threading.Event()

    def sync(handle: int) -> None:
        assert begun or goes_on.wait(60)

    begun = ["the files before the run"]
    with Journal(plan.folder, card=CARD, rig=RIG, is_live=True, sync=sync, now_ns=lambda: now_ns[0]) as journal:
        begun.clear()
        line = StraightLine(plan, sources=["gates", "panel"], journal=journal, show=shown.append)
        line.feed_all([ARM, *quiet(1.5, "gates", "panel")])
        line.listen_to_recorder()
        assert [event.event for event in shown] == ["armed"]
        now_ns[0] = 2 * S
        line.listen_to_recorder()
        assert [event.event for event in shown] == ["armed", "disk_slow"]
        goes_on.set()


# --- the live tracker ---


class ThirdEye:
    """Sees the boat at the place that is written into the picture's number."""

    def __init__(self) -> None:
        self.seen: list[int] = []

    def feed(self, frame: Frame) -> Fix | None:
        self.seen.append(frame.sequence)
        if frame.sequence % 7 == 6:
            return None
        x_mm = 10.0 * frame.sequence - 200
        return Fix(frame.t_ns + 9_000_000, x_mm, 0.0, 0.0, (1.0, 0.0, 1.0), "measured", "tracker")


def pictures(count: int) -> list[Record]:
    image = np.zeros((4, 4, 3), np.uint8)
    return [Frame(2 * S + n * 33_333_333, image, n, "camera") for n in range(count)]


def test_pictures_written_before_their_turn_are_done_with_and_no_longer_held(tmp_path: Path) -> None:
    plan, eye = Plan(CARD, RIG, tmp_path / "run", is_live=True), ThirdEye()
    every = pictures(43)
    early, late = every[:40], every[40:]
    with Journal(plan.folder, card=CARD, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(plan, sources=["panel", "camera"], journal=journal, tracker=eye)
        assert line.feed_all([ARM, *early]) == []
        assert line.write_waiting() == []
        assert line.write_waiting() == early
        assert [one.image.size for one in line._settled.waiting() if isinstance(one, Frame)] == [0] * 40
        assert line.write_waiting() == []
        words = quiet(10, "panel", "camera")
        assert line.feed_all([*late, *words]) == [*words, ARM, *late], "each is done with once"
        assert (line._held, line._written) == (set(), set())
        journal.flush()
        stamps = (journal.growing / "frames.csv").read_text().splitlines()[1:]
    assert line.frames_untracked_count == 40, "they came too late for the live tracker"
    assert eye.seen == [40, 41, 42]
    assert [int(stamp.split(",")[1]) for stamp in stamps] == [one.t_ns for one in every]


def drift_records() -> dict[str, list[Record]]:
    return {
        "gates": [*PASSING[:2], *quiet(60, "gates")],
        "panel": [ARM, *quiet(60, "panel")],
        "camera": [*pictures(220), *quiet(60, "camera")],
    }


def test_the_tracker_sees_every_picture_until_the_end_and_drives_the_referee(tmp_path: Path) -> None:
    eye, streams = ThirdEye(), drift_records()
    card = replace(CARD, kind="drift")
    ran = Ran(
        tmp_path / "run",
        [record for stream in streams.values() for record in stream],
        sources=list(streams),
        card=card,
        tracker=eye,
    )
    assert [event.event for event in ran.history] == ["armed", "started", "passed_mark", "ended"]
    assert ran.history[-1].detail == "wall"
    assert eye.seen == list(range(len(eye.seen)))
    recorded = len(ran.files["frames.csv"].splitlines()) - 1
    assert recorded > len(eye.seen), "the tail is recorded and no longer tracked"


@pytest.mark.parametrize("turn", [lambda names: names, lambda names: names[::-1], lambda names: [*names[1:], names[0]]])
def test_whoever_speaks_first_the_recording_is_the_same_to_the_byte(tmp_path: Path, turn: type) -> None:
    def ran(folder: Path, order: Sequence[str]) -> Ran:
        streams = drift_records()
        records = [record for name in order for record in streams[name]]
        return Ran(folder, records, sources=sorted(streams), card=replace(CARD, kind="drift"), tracker=ThirdEye())

    one, other = (
        ran(tmp_path / "one", ["gates", "panel", "camera"]),
        ran(tmp_path / "b", turn(["gates", "panel", "camera"])),
    )
    assert one.history == other.history
    assert one.files == other.files


def test_a_tracker_that_cannot_keep_up_leaves_out_pictures_and_the_recording_does_not(tmp_path: Path) -> None:
    eye = ThirdEye()
    plan = Plan(replace(CARD, kind="drift"), RIG, tmp_path / "run", is_live=True)
    with Journal(plan.folder, card=plan.card, rig=RIG, sync=lambda _: None) as journal:
        line = StraightLine(
            plan, sources=["camera"], journal=journal, tracker=eye, is_behind=lambda frame: frame.sequence % 2 == 0
        )
        for record in pictures(10):
            line.feed(record)
    assert eye.seen == [1, 3, 5, 7, 9]
    assert line.frames_untracked_count == 5
    assert len((tmp_path / "run" / "frames.csv").read_text().splitlines()) == 11
