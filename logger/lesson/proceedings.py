"""An open lesson between two changes: its log, what follows from it, the run under way, and the board of all that.

The only thing in a lesson that changes. Whoever changes it (desk.py for people, ear.py for the crew) does so within
`changing`, which holds the one lock and shows what came of it. What counts is first written to the log, and only then
believed and shown. Where it stands is looked up in cycle.py; what follows from the log is for standing.py to say.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from logger.config import RunCard
from logger.errors import InputError, StoreError
from logger.lesson import cycle, shown
from logger.lesson.board import Board
from logger.lesson.cards import card_of
from logger.lesson.crew import Crew, Seen
from logger.lesson.cycle import Sign, Signal, State
from logger.lesson.entries import Closing, Said
from logger.lesson.folder import LessonFolder
from logger.lesson.order import Turn
from logger.lesson.plan import Team
from logger.lesson.standing import Attempt, Standing
from logger.results.trial import Trial

Listener = Callable[[Board], None]


class Proceedings:
    """One lesson at a time. Every call may come from any thread, most of them within `changing`."""

    def __init__(
        self,
        *,
        now: Callable[[], str],
        clock_ns: Callable[[], int],
        clock_set_by: Callable[[], str] = lambda: "unknown",
    ) -> None:
        """No lesson is open yet.

        Args:
            now: wall time, RFC 3339, for the log.
            clock_ns: CLOCK_MONOTONIC.
            clock_set_by: how this computer's wall clock was set, as in a run's card.
        """
        self.now, self.clock_ns, self.clock_set_by = now, clock_ns, clock_set_by
        self.lock = threading.RLock()
        self.crew: Crew | None = None
        self.folder: LessonFolder | None = None
        self.standing: Standing | None = None
        self.state: State = "closed"
        self.run = shown.RunShown()
        self.closing: tuple[Closing, str] | None = None
        """What the recording under way is to be closed as, if that is decided already, and why."""
        self.seen = Seen(beams={})
        self.troubles: tuple[str, ...] = ()
        self.trials: dict[str, Trial] = {}
        self.board = Board(0, "")
        self.listeners: list[Listener] = []

    @contextmanager
    def changing(self) -> Iterator[None]:
        """Hold the lock; show what came of it, also if it was refused."""
        with self.lock:
            try:
                yield
            finally:
                self.publish()

    def publish(self) -> None:
        """Make the board anew and tell everybody, if anything on it has changed."""
        board = shown.board(
            self.board.version + 1, self.folder.name if self.folder else "", self.standing, self.state,
            run=self.run, seen=self.seen, troubles=self.troubles, trials=self.trials,
            log_count=len(self.folder.entries) if self.folder else 0,
        )  # fmt: skip
        if replace(board, version=self.board.version) == self.board:
            return
        self.board = board
        for listener in list(self.listeners):
            listener(board)

    def enter(self, state: State) -> None:
        """The lesson is in `state` from now on."""
        if state != self.state:
            self.state = state
            self.run = replace(self.run, since_ns=self.clock_ns())

    def may(self, signal: Signal) -> bool:
        """Whether `signal` means anything now."""
        return cycle.after(self.state, signal) is not None

    def step(self, signal: Signal) -> None:
        """Take the step that `signal` leads to. InputError: it leads nowhere now."""
        after = cycle.after(self.state, signal)
        if after is None:
            raise InputError(shown.not_now(self.state, signal))
        self.enter(after)

    def refuse_unless_changeable(self) -> None:
        """InputError: a run is under way, so nothing may be changed."""
        if not self.may("change"):
            raise InputError(shown.not_now(self.state, "change"))

    def say(self, one: Said) -> None:
        """Write it down, then believe it. StoreError: it cannot be written; nothing has changed then."""
        self.standing = self.lesson.say(one, at=self.now())

    @property
    def lesson(self) -> LessonFolder:
        """The open lesson's folder. InputError: none is open."""
        if self.folder is None:
            raise InputError("no lesson is open; begin one first")
        return self.folder

    @property
    def crewed(self) -> Crew:
        """Those who work the rig. InputError: no lesson is open."""
        if self.crew is None:
            raise InputError("no lesson is open; begin one first")
        return self.crew

    def opened(self) -> Standing:
        """The open lesson as it stands. InputError: none is open."""
        if self.standing is None:
            raise InputError("no lesson is open; begin one first")
        return self.standing

    def next_turn(self) -> tuple[Standing, Turn]:
        """Whose turn it is. InputError: nothing can be armed now."""
        standing = self.opened()
        if not self.may("arm") or standing.next_turn is None:
            raise InputError(shown.not_now(self.state, "arm"))
        return standing, standing.next_turn

    def team(self, number: int) -> Team:
        """The team of that number. InputError: there is none."""
        team = self.opened().team(number)
        if team is None:
            raise InputError(
                f"there is no team {number}; there are {', '.join(str(t.number) for t in self.opened().teams)}"
            )
        return team

    def say_about(self, run_id: str, entry: Callable[[Attempt], Said]) -> None:
        """Say something of a run: the one named, or the last one."""
        standing = self.opened()
        runs = [one for one in standing.attempts if one.state in ("to_decide", "decided")]
        about = [one for one in runs if one.run_id == run_id] if run_id else runs
        if not about:
            raise InputError(f"there is no run {run_id or 'yet'} that has ended")
        self.say(entry(about[-1]))

    def settle(self) -> None:
        """After a change of the log: the state that follows from it between two runs, and the crew's attention."""
        standing = self.opened()
        waits = standing.open_attempt is not None
        sign: Sign = "to_decide" if waits else "none_left" if standing.next_turn is None else "next_called"
        if self.may(sign):
            if sign == "to_decide" and self.state != "deciding":
                self.run = self.left_over()
            self.step(sign)
        self.attend()

    def left_over(self) -> shown.RunShown:
        """The run that waits for a decision, as it is shown after a new start."""
        attempt = self.opened().open_attempt
        if attempt is None:
            return self.run
        return shown.RunShown(attempt.run_id, trial=self.trials.get(attempt.run_id),
                              is_final=attempt.run_id in self.trials)  # fmt: skip

    def attend(self) -> None:
        """Where the crew looks now."""
        standing, crew = self.opened(), self.crewed
        if self.state in ("called", "deciding"):
            if standing.next_turn is not None:
                crew.expect(self.card(standing.next_turn, f"r{len(standing.attempts) + 1}"))
            crew.look_out(standing.teams)
        elif self.state in ("done", "paused", "over"):
            self.seen = Seen(beams={})
            crew.rest()

    def card(self, turn: Turn, run_id: str) -> RunCard:
        """The card of a run."""
        return card_of(
            self.opened(), turn, run_id=run_id, at=self.now(), clock_set_by=self.clock_set_by(), lesson=self.lesson.name
        )

    def count(self) -> None:
        """Let recordings and trials say what was counted by hand. Trouble is shown, the log has it."""
        for attempt in self.opened().attempts:
            if attempt.state in ("to_decide", "decided"):
                try:
                    if self.lesson.count(attempt, self.trials.get(attempt.run_id)):
                        self.crewed.measure(self.lesson.recording(attempt.run_id))
                except StoreError as error:
                    self.troubles = shown.sentences(str(error))

    def mirror(self) -> None:
        """Bring the store into line with what was decided of the runs in it. Trouble is shown, the log has it."""
        try:
            self.lesson.mirror(at=self.now())
        except StoreError as error:
            self.troubles = shown.sentences(str(error))
