"""The desk: the one place where a lesson is led from. Pages and buttons speak to it; everybody sees its board.

people -- press --> desk --> log on disk --> standing --> board (everybody sees it)
                     |  ^
                    crew (works the rig, tells what happens)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from logger.config import BY_HAND, Boat
from logger.errors import InputError
from logger.lesson import entries as said
from logger.lesson import shown
from logger.lesson.board import Board
from logger.lesson.crew import Crew, Job, Seen
from logger.lesson.ear import Ear
from logger.lesson.entries import Again, CountOf
from logger.lesson.folder import LessonFolder
from logger.lesson.plan import Team, team_mistakes
from logger.lesson.proceedings import Listener, Proceedings
from logger.lesson.standing import Standing
from logger.records import Frame
from logger.results.trial import Status, Trial


class Desk:
    """Leads one lesson at a time. Every call may come from any thread."""

    def __init__(self, proceedings: Proceedings) -> None:
        """Lead `proceedings`, in which no lesson is open yet."""
        self._on = proceedings
        self.ear = Ear(self._on, self)
        """Whom the crew tells what happens."""

    # ---- what pages ask -----------------------------------------------------------------------------------------

    def board(self) -> Board:
        """What everybody sees now."""
        return self._on.board

    @property
    def standing(self) -> Standing | None:
        """The open lesson as its log has it; None: none is open."""
        return self._on.standing

    @property
    def folder(self) -> LessonFolder | None:
        """Where the open lesson is kept."""
        return self._on.folder

    def trial(self, run_id: str) -> Trial | None:
        """What a run of this lesson came to, if it has been measured."""
        return self._on.trials.get(run_id)

    def picture(self) -> Frame | None:
        """The newest picture of the rig's camera, which may be old; None: there is none, or no lesson is open."""
        crew = self._on.crew
        return None if crew is None else crew.picture()

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Tell `listener` of every new board, from whatever thread; returns what ends it. It must return at once."""
        with self._on.lock:
            self._on.listeners.append(listener)
            listener(self._on.board)

        def end() -> None:
            with self._on.lock:
                if listener in self._on.listeners:
                    self._on.listeners.remove(listener)

        return end

    # ---- what people do -----------------------------------------------------------------------------------------

    def open(self, folder: LessonFolder, crew: Crew) -> None:
        """Lead the lesson in `folder`, a new one or one that was begun earlier.

        What a power cut left under way is closed as cut short, and waits for a decision; where it came before anything
        was recorded no run began. Recordings that were kept but not measured are measured now.

        Raises:
            InputError: another one is open; or the log cannot be read.
        """
        with self._on.changing():
            if self._on.folder is not None:
                raise InputError("a lesson is open already; close it first")
            self._on.folder, self._on.crew, self._on.standing = folder, crew, folder.standing()
            self._on.trials = dict(folder.trials())
            for attempt in self._on.standing.attempts:
                if attempt.closing is None:
                    has_begun = folder.recording(attempt.run_id).exists()
                    self._on.say(said.Closed(attempt.run_id, "cut_short" if has_begun else "called_off"))
            self._on.troubles = ()
            self._on.run = self._on.left_over()
            standing = self._on.opened()
            self._on.state = "over" if standing.is_over else "paused" if standing.is_paused else "called"
            self._on.settle()
            for attempt in self._on.opened().attempts:
                if attempt.state in ("to_decide", "decided") and attempt.run_id not in self._on.trials:
                    crew.measure(folder.recording(attempt.run_id))
            self._on.count()
            self._on.mirror()

    def close(self) -> None:
        """Leave the lesson; it can be opened again. InputError: a run is under way."""
        with self._on.changing():
            if self._on.state in ("ready", "armed", "released", "running", "drifting", "closing"):
                raise InputError("a run is under way; wait until it has ended, or stop it first")
            crew, self._on.crew = self._on.crew, None
            if self._on.folder is not None:
                self._on.folder.close()
            self._on.folder, self._on.standing, self._on.state = None, None, "closed"
            self._on.run, self._on.seen, self._on.troubles, self._on.trials = shown.RunShown(), Seen(beams={}), (), {}
        if crew is not None:
            crew.close()

    def arm(self) -> None:
        """Get the called boat's run ready and arm it. InputError: not now, or a beam is blocked."""
        with self._on.changing():
            standing, turn = self._on.next_turn()
            blocked = sorted(name for name, how in self._on.seen.beams.items() if how == "blocked")
            if self._on.may("arm") and blocked and standing.plan.kind not in BY_HAND:
                raise InputError(f"not armed: the beam of {', '.join(blocked)} is blocked; clear it, then arm again")
            self._on.step("arm")
            run_id = f"r{len(standing.attempts) + 1}"
            self._on.say(said.Began(run_id, turn.team, turn.round))
            self._on.run = shown.RunShown(run_id=run_id)
            self._on.closing, self._on.troubles, self._on.seen = None, (), Seen(beams={})
            self._on.crewed.begin(
                Job(self._on.card(turn, run_id), self._on.lesson.recording(run_id), standing.plan.begin)
            )

    def go(self) -> None:
        """The word. InputError: nothing is armed."""
        with self._on.changing():
            self._on.step("go")
            self._on.crewed.press("go")

    def stop(self) -> None:
        """End the run, or call it off if the boat has not set off. InputError: nothing is under way."""
        with self._on.changing():
            before = self._on.state
            self._on.step("stop")
            if before in ("running", "drifting"):
                self._on.crewed.press("stop")
            else:
                self._on.closing = self._on.closing or ("called_off", "")
                self._on.crewed.call_off()

    def freed(self) -> None:
        """Somebody helps the boat; the run goes on and is marked. InputError: no boat is under way."""
        with self._on.changing():
            if self._on.state not in ("running", "drifting"):
                raise InputError("no boat is under way; after the run, call it freed when you decide")
            self._on.crewed.press("freed")

    def decide(self, status: Status, *, reason: str = "", again: Again = "no", run_id: str = "") -> None:
        """What a run counts as: the one that waits for it, or an earlier one by its name.

        A void run needs a reason.

        Raises:
            InputError: there is no such run, it is under way, or the reason is missing.
        """
        with self._on.changing():
            standing = self._on.opened()
            waiting = standing.open_attempt
            attempt = standing.attempt(run_id) if run_id else waiting
            if attempt is None or attempt.state in ("under_way", "no_run"):
                raise InputError("there is no run to decide about; wait until it has ended")
            if status == "void" and not reason.strip():
                raise InputError("a run is void for a reason; choose one")
            is_waiting = attempt.state == "to_decide" and self._on.state == "deciding"
            if not is_waiting and not self._on.may("change"):
                raise InputError("not while a run is under way; decide when it has ended")
            self._on.say(said.Decided(attempt.run_id, status, reason.strip(), again))
            self._on.mirror()
            self._on.settle()

    def count(self, of: CountOf, count: int, *, run_id: str = "") -> None:
        """So much was counted by hand in a run: the last one, or one by its name."""
        with self._on.changing():
            self._on.say_about(run_id, lambda attempt: said.Counted(attempt.run_id, of, count))
            self._on.count()

    def note(self, words: str, *, run_id: str = "") -> None:
        """Words about a run: the last one, or one by its name."""
        with self._on.changing():
            self._on.say_about(run_id, lambda attempt: said.Noted(attempt.run_id, words.strip()))

    def reassign(self, run_id: str, team: int) -> None:
        """The run was another team's. InputError: there is no such run or team, or it is under way."""
        with self._on.changing():
            self._on.team(team)
            self._on.say_about(run_id, lambda attempt: said.Reassigned(attempt.run_id, team))
            self._on.mirror()
            self._on.settle()

    def move(self, team: int, *, last: bool) -> None:
        """A team's next turn is the next one of all, or the last. InputError: it owes none, or not now."""
        with self._on.changing():
            self._on.refuse_unless_changeable()
            if not any(turn.team == team for turn in self._on.opened().owed):
                raise InputError(f"team {team} has no run left; void one of its runs to give it another")
            self._on.say(said.Moved(team, "last" if last else "now"))
            self._on.settle()

    def card(self, team: int, boat: Boat) -> None:
        """A team's boat was rebuilt (a higher version) or measured anew."""
        with self._on.changing():
            self._on.refuse_unless_changeable()
            others = [replace(t, boat=boat) if t.number == team else t for t in self._on.opened().teams]
            self._on.team(team)
            if mistakes := team_mistakes(tuple(others)):
                raise InputError("; ".join(mistakes))
            self._on.say(said.Carded(team, boat))
            self._on.settle()

    def rename(self, team: int, nickname: str) -> None:
        """A team has another nickname."""
        with self._on.changing():
            self._on.refuse_unless_changeable()
            others = [replace(t, nickname=nickname) if t.number == team else t for t in self._on.opened().teams]
            self._on.team(team)
            if mistakes := team_mistakes(tuple(others)):
                raise InputError("; ".join(mistakes))
            self._on.say(said.Renamed(team, nickname))
            self._on.settle()

    def join(self, team: Team) -> None:
        """A team came later."""
        with self._on.changing():
            self._on.refuse_unless_changeable()
            if mistakes := team_mistakes((*self._on.opened().teams, team)):
                raise InputError("; ".join(mistakes))
            self._on.say(said.Joined(team))
            self._on.settle()

    def show_ranking(self, shown: bool) -> None:
        """Whether the wall board orders the teams."""
        with self._on.changing():
            self._on.say(said.Ranked(shown))

    def undo(self) -> None:
        """Take the last decision or change back. InputError: there is none, or a run is under way."""
        with self._on.changing():
            self._on.refuse_unless_changeable()
            number = self._on.opened().can_undo
            if number is None:
                raise InputError("there is nothing to take back")
            self._on.say(said.Undone(number))
            self._on.count()
            self._on.mirror()
            self._on.settle()

    def pause(self, reason: str = "") -> None:
        """The bell: nothing is run until it is resumed. InputError: a run is under way."""
        with self._on.changing():
            self._on.step("pause")
            self._on.say(said.Paused(reason))
            self._on.attend()

    def resume(self) -> None:
        """It goes on where it was."""
        with self._on.changing():
            self._on.step("resume")
            self._on.say(said.Resumed())
            self._on.settle()

    def end(self) -> None:
        """The lesson is over."""
        with self._on.changing():
            self._on.step("end")
            self._on.say(said.Ended())
            self._on.attend()

    def clock_told(self, ahead_s: float) -> None:
        """A browser has told the wall time."""
        with self._on.changing():
            self._on.say(said.ClockTold(ahead_s))
