"""What the desk asks of those who work the rig, and what they tell it. Neither side knows more of the other than this.

The crew owns the devices and their threads (rig_crew.py). All its calls return at once; what comes of them is told
later, from whatever thread: the desk has a lock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from logger.config import RunCard
from logger.lesson.board import BeamSeen, Water
from logger.lesson.plan import Team
from logger.recording.folder import Event
from logger.records import Fix, Frame, KeyName
from logger.results.trial import Trial
from logger.station.referee import Begin


@dataclass(frozen=True, slots=True)
class Job:
    """One run as the crew is to record it."""

    card: RunCard
    folder: Path
    """Where the recording is to stand; must not exist yet."""
    begin: Begin


@dataclass(frozen=True, slots=True)
class Seen:
    """What the rig looks like between two runs."""

    beams: Mapping[str, BeamSeen]
    water: Water = "unknown"
    tag_number: int | None = None
    """Of the tag that lies in the water, if one was read."""
    troubles: tuple[str, ...] = ()
    """What is wrong with the rig, each with its cure."""


class Crew(Protocol):
    """Those who work the rig."""

    def expect(self, card: RunCard) -> None:
        """This is the next boat, as it will probably be run."""
        ...

    def look_out(self, teams: Sequence[Team]) -> None:
        """Watch the rig between two runs, tell what is seen, and listen to its buttons."""
        ...

    def rest(self) -> None:
        """Let go of every device."""
        ...

    def begin(self, job: Job) -> None:
        """Open the devices, record one run until the referee ends it, and measure it."""
        ...

    def press(self, key: KeyName, detail: str = "") -> None:
        """A person pressed this during the run; it is recorded like a button of the rig."""
        ...

    def call_off(self) -> None:
        """Bring the recording to its end, whatever it is at."""
        ...

    def measure(self, folder: Path) -> None:
        """Measure a recording that was kept earlier."""
        ...

    def picture(self) -> Frame | None:
        """The newest picture that the rig's camera sent, between runs or during one; None: none yet."""
        ...

    def close(self) -> None:
        """Let go of everything, for good; waits until a recording under way is whole on the disk."""
        ...


class Told(Protocol):
    """What the crew tells."""

    def seen(self, seen: Seen) -> None:
        """The rig between two runs."""
        ...

    def pressed(self, key: KeyName) -> None:
        """A button of the rig was pressed between two runs."""
        ...

    def happened(self, event: Event) -> None:
        """Something was decided or noticed in the run under way."""
        ...

    def located(self, fix: Fix) -> None:
        """The live tracker saw the boat."""
        ...

    def failed(self, sentence: str) -> None:
        """The recording came to nothing (devices could not be opened), or broke off."""
        ...

    def kept(self, folder: Path) -> None:
        """The recording is whole on the disk."""
        ...

    def guessed(self, run_id: str, trial: Trial) -> None:
        """First figures, from what needs no pictures."""
        ...

    def measured(self, run_id: str, trial: Trial | None, sentence: str) -> None:
        """The trial as it is kept in the store; None: it cannot be measured, for that reason."""
        ...
