"""The trial: what one run came to. Frozen, superseded by a later measurement but never deleted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from calibration.quantity import Quantity
from logger.config import KindOfRun, ZoneKind
from logger.vision.track import Touch

Status: TypeAlias = Literal["valid", "void", "did_not_finish", "freed"]
Witness: TypeAlias = Literal["gate", "camera", "gate+camera"]
EndReason: TypeAlias = Literal["finish", "at_rest", "wall", "time_cap", "stopped_by_hand", "recording_ended"]

FORMAT = "boatrun-trial/1"


@dataclass(frozen=True, slots=True)
class Crossing:
    """The foremost part of the boat reached a line."""

    line: str
    t_ns: int
    u_s: float
    witness: Witness


@dataclass(frozen=True, slots=True)
class NotMeasured:
    """A result that could not be had, and why, as a sentence. False in a condition."""

    reason: str

    def __bool__(self) -> Literal[False]:
        return False


@dataclass(frozen=True, slots=True)
class Result:
    """One measured quantity under its name in the column dictionary."""

    quantity: Quantity
    witness: str
    """gate, camera, gate+camera, card, or hand: a person counted."""
    at_least: bool = False
    """True: the truth is this or more (a coast that ended at the wall)."""


@dataclass(frozen=True, slots=True)
class Visit:
    """The boat was at a port, an obstacle or a ring, or perhaps was."""

    zone: str
    kind: ZoneKind
    from_ns: int
    to_ns: int
    """From when to when a part of its waterline lay over it; both the nearest moment if it only came near."""
    u_from_s: float
    u_to_s: float
    chance: float
    """How likely it was there, 0 to 1, by the doubt of hull and border."""

    @property
    def is_sure(self) -> bool:
        """Whether there is no reasonable doubt that it was there."""
        return self.chance > 0.975


@dataclass(frozen=True, slots=True)
class Trial:
    """What one run came to, with what it was made from."""

    run_id: str
    kind: KindOfRun
    status: Status
    crossings: tuple[Crossing, ...]
    results: Mapping[str, Result]
    not_measured: Mapping[str, NotMeasured] = field(default_factory=dict)
    flags: tuple[str, ...] = ()
    """Doubts, one sentence each."""
    touches: tuple[Touch, ...] = ()
    """What was seen to touch the boat between go and the end of the run; each has its sentence in the flags."""
    visits: tuple[Visit, ...] = ()
    """Ports, obstacles and rings that it came to between go and the end, in order."""
    end_reason: EndReason = "recording_ended"
    software: str = ""
    calibration_id: str = ""
    simulated: bool = False
