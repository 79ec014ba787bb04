"""What the crew tells, and what becomes of it."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Protocol

from logger.errors import InputError
from logger.lesson import cycle, shown
from logger.lesson import entries as said
from logger.lesson.crew import Seen
from logger.lesson.cycle import Sign
from logger.lesson.entries import Again
from logger.lesson.proceedings import Proceedings
from logger.recording.folder import Event
from logger.records import Fix, KeyName
from logger.results.trial import Status, Trial

log = logging.getLogger(__name__)

_SIGNS: Mapping[str, Sign] = MappingProxyType(
    {"armed": "armed", "released": "released", "started": "started", "passed_mark": "passed_mark", "ended": "ended",
     "disarmed": "disarmed", "early_start": "early_start"}
)  # fmt: skip
"""Events of the referee -> signs of the cycle."""
_STATUS_OF_KEY: Mapping[str, Status] = MappingProxyType(
    {"keep": "valid", "void": "void", "freed": "freed", "did_not_finish": "did_not_finish"}
)
BUTTON = "by a button of the rig"
"""The reason of a run that was made void without a page."""


class Leads(Protocol):
    """What the buttons of the rig can do between two runs."""

    def arm(self) -> None:
        """Arm the called boat's run."""
        ...

    def decide(self, status: Status, *, reason: str = "", again: Again = "no", run_id: str = "") -> None:
        """What the run that waits counts as."""
        ...


class Ear:
    """Listens to the crew; see crew.Told. Every call may come from any thread."""

    def __init__(self, proceedings: Proceedings, desk: Leads) -> None:
        self._on, self._desk = proceedings, desk

    def seen(self, seen: Seen) -> None:
        """The rig between two runs."""
        with self._on.changing():
            self._on.seen = seen

    def pressed(self, key: KeyName) -> None:
        """A button of the rig between two runs: the same as on a page; what is not possible is shown, not raised."""
        with self._on.changing():
            try:
                if key == "arm":
                    self._desk.arm()
                elif key in _STATUS_OF_KEY and self._on.state == "deciding":
                    self._desk.decide(_STATUS_OF_KEY[key], reason=BUTTON if key == "void" else "",
                                again="now" if key == "void" else "no")  # fmt: skip
            except InputError as error:
                self._on.troubles = (str(error),)

    def happened(self, event: Event) -> None:
        """Something was decided or noticed in the run under way."""
        with self._on.changing():
            self._on.run = self._on.run.after(event)
            if event.event == "arming_refused":
                self._on.closing = ("called_off", f"not armed: {event.detail}")
                self._on.crewed.call_off()
            elif event.event in ("disarmed", "early_start"):
                self._on.closing = ("called_off" if event.event == "disarmed" else "early_start", "")
                self._on.crewed.call_off()
            signal = _SIGNS.get(event.event)
            if signal is not None and (after := cycle.after(self._on.state, signal)) is not None:
                self._on.enter(after)

    def located(self, fix: Fix) -> None:
        """The live tracker saw the boat."""
        with self._on.changing():
            plan = self._on.standing.plan if self._on.standing else None
            if plan is not None:
                self._on.run = self._on.run.located(fix, state=self._on.state, stuck_after_s=plan.agreed.stuck_after_s,
                                              stop_speed_mm_per_s=plan.rules.stop_speed_mm_per_s)  # fmt: skip

    def failed(self, sentence: str) -> None:
        """The recording came to nothing, or broke off."""
        with self._on.changing():
            if not self._on.may("failed"):
                return
            log.warning("run %s: %s", self._on.run.run_id, sentence)
            is_lost = self._on.state in ("running", "drifting", "closing")
            self._on.troubles = shown.sentences(sentence)
            self._on.say(
                said.Closed(self._on.run.run_id, "broken_off" if is_lost else "called_off", said.cut(sentence))
            )
            self._on.step("failed")
            self._on.settle()

    def kept(self, folder: Path) -> None:
        """The recording is whole on the disk."""
        with self._on.changing():
            if self._on.state != "closing" or folder.name != self._on.run.run_id:
                return
            closing, words = self._on.closing or (self._on.run.closing, "")
            self._on.say(said.Closed(self._on.run.run_id, closing, said.cut(words)))
            self._on.closing = None
            if closing in said.NO_RUNS:
                self._on.troubles = shown.sentences(words) if words else self._on.troubles
                self._on.run = self._on.run.without_run()
                self._on.step("gone")
            else:
                self._on.step("kept")
            self._on.settle()

    def guessed(self, run_id: str, trial: Trial) -> None:
        """First figures."""
        with self._on.changing():
            if run_id == self._on.run.run_id and run_id not in self._on.trials:
                self._on.run = replace(self._on.run, trial=trial, is_final=False)

    def measured(self, run_id: str, trial: Trial | None, sentence: str) -> None:
        """The trial as it is kept in the store."""
        with self._on.changing():
            if self._on.standing is None or self._on.standing.attempt(run_id) is None:
                return
            if trial is not None:
                self._on.trials[run_id] = trial
                self._on.mirror()
            if run_id == self._on.run.run_id:
                self._on.run = replace(
                    self._on.run, trial=trial or self._on.run.trial, is_final=True, why_none=sentence
                )
