"""Everything that is known about one run before the first number is taken: the measuring modules' common table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

from logger.config import CAMERA_SOURCE, GATES_SOURCE, KindOfRun, Rig, Rules
from logger.recording.folder import Recording
from logger.results import gates, troubles
from logger.results.budget import Owner
from logger.results.lines import Ahead, ahead, end_line, start_line
from logger.results.motion import FEWEST_FIXES, Motion, smooth
from logger.results.passages import Passage
from logger.results.story import Story, story
from logger.results.troubles import Trouble
from logger.vision.track import BRIDGED, NotFound, Track


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One run."""

    owner: Owner
    kind: KindOfRun
    rules: Rules
    rig: Rig
    story: Story
    origin_ns: int
    """Zero of all seconds in the measuring modules."""
    ends_ns: int
    """The last moment of which anything is known."""
    passages: Mapping[str, tuple[Passage, ...]]
    first: Ahead | None
    """The start line as the boat meets it; None if the rig has none."""
    last: Ahead | None
    """The finish line, or the mark line in a drift run."""
    track: Track | None
    motion: Motion | None
    why_no_motion: str
    """A sentence; empty if there is a motion."""
    seed: int
    """Of the draws; made from the run's name."""
    troubles: tuple[Trouble, ...] = ()
    """What the sources said against themselves."""
    u_gates_clock_s: float = 0.0
    """Standard uncertainty of the gates' clock against the one clock, the same for all their stamps in a run."""
    u_camera_clock_s: float = 0.0
    """The same of the camera's clock, beside the doubt of its delay."""

    @property
    def from_ns(self) -> int:
        """Nothing before this counts."""
        return self.origin_ns if self.story.armed_ns is None else self.story.armed_ns

    @property
    def gates_clock(self) -> gates.GatesClock:
        """What the gates' stamps count from."""
        return gates.GatesClock(self.origin_ns, self.owner.run_id, self.u_gates_clock_s)

    @property
    def u_camera_moment_s(self) -> float:
        """Standard uncertainty of the moment of every picture, the same in a whole run: of the delay and the clock."""
        u_delay_s = 0.0 if self.rig.camera is None else self.rig.camera.u_delay_s
        return math.hypot(u_delay_s, self.u_camera_clock_s)

    def since_first_s(self, t_ns: int) -> float:
        """A stamp as seconds after the motion's first moment; the motion must be there."""
        assert self.motion is not None  # noqa: S101 - a promise of the caller, not input
        return (t_ns - int(self.motion.t_ns[0])) / 1e9


def case_of(recording: Recording, rig: Rig, seen: Track | NotFound | None) -> Case:
    """Lay the table.

    Args:
        recording: as loaded.
        rig: the recording's own, or a better one.
        seen: what the camera made of it; None without a camera.
    """
    told = story(recording.events)
    track, why_not = _usable(seen)
    moments = _moments(recording, track)
    last = end_line(rig, recording.card.kind)
    span = {"from_ns": min(moments) if told.armed_ns is None else told.armed_ns, "until_ns": max(moments)}
    first = start_line(rig)
    return Case(
        owner=Owner(recording.card.id, recording.card.boat),
        kind=recording.card.kind,
        rules=recording.card.rules,
        rig=rig,
        story=told,
        origin_ns=min(moments),
        ends_ns=max(moments),
        passages=gates.all_passages(recording.edges, rig, recording.card.rules),
        first=None if first is None else ahead(first, rig),
        last=None if last is None else ahead(last, rig),
        track=track,
        motion=None if track is None else smooth(track),
        why_no_motion=why_not,
        seed=crc32(recording.card.id.encode()),
        troubles=troubles.troubles(recording.events),
        u_gates_clock_s=troubles.u_clock_s(recording.events, GATES_SOURCE, **span),
        u_camera_clock_s=troubles.u_clock_s(recording.events, CAMERA_SOURCE, **span),
    )


def _usable(seen: Track | NotFound | None) -> tuple[Track | None, str]:
    if seen is None:
        return None, "There are no pictures of this run."
    if isinstance(seen, NotFound):
        return None, f"The camera did not find the boat: {seen.reason}."
    if (count := int((seen.quality != BRIDGED).sum())) < FEWEST_FIXES:
        return None, f"The camera saw the boat in only {count} pictures."
    return seen, ""


def _moments(recording: Recording, track: Track | None) -> list[int]:
    """Stamps of all that was recorded, at least one."""
    moments = [e.t_ns for e in recording.edges] + [e.t_ns for e in recording.events]
    if recording.stamps is not None and len(recording.stamps.t_ns):
        moments += [int(recording.stamps.t_ns[0]), int(recording.stamps.t_ns[-1])]
    if track is not None:
        moments += [int(track.t_ns[0]), int(track.t_ns[-1])]
    return moments or [0]
