"""No sequence of events loses a run or strands a lesson: presses, buttons, devices, power cuts, in any order."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from logger.errors import InputError
from logger.lesson.desk import Desk
from logger.lesson.folder import LessonFolder
from tests.logger.lesson.lessons import Hands, led, opened, plan, trial

STATUSES = st.sampled_from(["valid", "void", "did_not_finish", "freed"])
RUN_EVENTS = st.sampled_from(
    ["armed", "released", "started", "passed_mark", "early_start", "disarmed", "arming_refused:blocked", "freed",
     "ended:finish", "ended:time_cap", "ended:recording_ended", "ended:stopped_by_hand"]
)  # fmt: skip


class Period(RuleBasedStateMachine):
    """A lesson to which anything may happen at any time."""

    desk: Desk
    hands: Hands
    folder: LessonFolder

    @initialize(begin=st.sampled_from(["hands_off", "on_go"]), repeats=st.integers(1, 2))
    def begins(self, begin: str, repeats: int) -> None:
        self.place = Path(tempfile.mkdtemp())
        self.desk, self.hands, self.folder = opened(self.place, plan(2, begin=begin, repeats=repeats))
        self.ever: set[str] = set()
        """Names of all recordings that were whole on the disk."""
        self.kept: set[str] = set()

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            self.folder.close()
            shutil.rmtree(self.place)

    # ---- people -------------------------------------------------------------------------------------------------

    @rule()
    def arm(self) -> None:
        with suppress(InputError):
            self.desk.arm()

    @rule()
    def go(self) -> None:
        with suppress(InputError):
            self.desk.go()

    @rule()
    def stop(self) -> None:
        with suppress(InputError):
            self.desk.stop()

    @rule(status=STATUSES, again=st.sampled_from(["no", "now", "last"]), which=st.integers(0, 4))
    def decide(self, status: str, again: str, which: int) -> None:
        run_id = "" if which == 0 else f"r{which}"
        with suppress(InputError):
            self.desk.decide(status, reason="gust", again=again, run_id=run_id)  # type: ignore[arg-type]

    @rule()
    def undo(self) -> None:
        with suppress(InputError):
            self.desk.undo()

    @rule(team=st.integers(1, 3), last=st.booleans())
    def move(self, team: int, last: bool) -> None:
        with suppress(InputError):
            self.desk.move(team, last=last)

    @rule(run=st.integers(1, 4), team=st.integers(1, 3))
    def reassign(self, run: int, team: int) -> None:
        with suppress(InputError):
            self.desk.reassign(f"r{run}", team)

    @rule(what=st.sampled_from(["pause", "resume", "end"]))
    def bell(self, what: str) -> None:
        with suppress(InputError):
            getattr(self.desk, what)()

    @rule(key=st.sampled_from(["arm", "keep", "void", "freed", "go"]))
    def button(self, key: str) -> None:
        self.hands.ear.pressed(key)

    # ---- the rig ------------------------------------------------------------------------------------------------

    @rule(event=RUN_EVENTS)
    def happens(self, event: str) -> None:
        self.hands.happens(event)

    @rule(how=st.sampled_from(["clear", "blocked", "unknown"]))
    def sees(self, how: str) -> None:
        self.hands.sees(start=how)

    @precondition(lambda self: self.hands.job is not None and not self.hands.job.folder.exists())
    @rule(is_measured=st.booleans())
    def keeps(self, is_measured: bool) -> None:
        assert self.hands.job is not None
        if self.desk.board().state != "closing":
            return  # a recording is whole once the referee has ended it
        run_id = self.hands.job.card.id
        self.hands.keeps()
        self.kept.add(run_id)
        if is_measured:
            self.hands.tells(trial(run_id))

    @rule()
    def fails(self) -> None:
        self.hands.ear.failed("the camera is gone; plug it in")

    @rule()
    def power_cut(self) -> None:
        self.folder.close()
        self.desk, self.hands = led(LessonFolder(self.folder.path))
        self.folder = self.desk.folder or self.folder

    # ---- what must hold -----------------------------------------------------------------------------------------

    @invariant()
    def no_run_is_lost(self) -> None:
        standing = self.desk.standing
        assert standing is not None
        known = {attempt.run_id for attempt in standing.attempts}
        assert self.kept <= known
        assert len(known) == len(standing.attempts)

    @invariant()
    def nothing_decided_is_forgotten_by_a_new_start(self) -> None:
        standing = self.desk.standing
        assert standing is not None
        from logger.lesson.entries import entry_from_table
        from logger.lesson.standing import fold
        from logger.recording.line_log import read_lines

        written = fold(entry_from_table(t, file="x") for t in read_lines(self.folder.path / "lesson.jsonl"))
        assert written == standing

    @invariant()
    def it_is_never_stranded(self) -> None:
        """Whatever happened, a person and a rig that works bring it to its end."""
        board = self.desk.board()
        assert board.may or board.state in ("closing", "ready")
        if board.state == "deciding":
            assert self.desk.standing is not None
            assert self.desk.standing.open_attempt is not None
        if board.state == "called":
            assert board.who is not None

    @invariant()
    def counted_runs_and_owed_turns_never_fall_short(self) -> None:
        standing = self.desk.standing
        assert standing is not None
        for team in standing.teams:
            counted = sum(a.team == team.number and a.status not in (None, "void") for a in standing.attempts)
            owed = sum(turn.team == team.number for turn in standing.owed)
            not_repeated = sum(a.status == "void" and a.again == "no" for a in standing.attempts)
            assert counted + owed + not_repeated >= standing.plan.repeats or counted == 0 or owed > 0


Period.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestPeriod = Period.TestCase
