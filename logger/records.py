"""What flows: the small frozen facts that sensors and people send into the inbox.

All times are integer nanoseconds of one clock, the host's CLOCK_MONOTONIC, and are called `t_ns`. A record carries no
uncertainty: its doubt belongs to its source and is looked up when measuring, so that raw records stay true when a
calibration improves. `source` is the name of the driver that sent it, as in `rig.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Edge:
    """A beam was broken or became clear, stamped where it happened."""

    t_ns: int
    gate: str
    blocked: bool
    source: str
    count: int | None = None
    """The source's own running number of this edge, where it has one: a jump means lost edges."""


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One picture. Lives only between a camera and whoever looks at it; what is kept is its compressed form.

    Row y (0 = top, pixel centres on whole numbers) was in mid-exposure at t_ns + y·line_ns + exposure_ns/2.
    """

    t_ns: int
    """Start of the exposure of the first row."""
    image: NDArray[np.uint8]
    """(height, width, 3), BGR, read-only by convention. A camera may give a function that decodes it, which is then
    called when somebody looks: while a run is recorded nobody does, and decoding is most of the work."""
    sequence: int
    """Running number given by the source, from 0; a jump means dropped frames."""
    source: str
    exposure_ns: int = 0
    line_ns: int = 0
    """Time from one row's exposure to the next row's; 0 for a global shutter."""
    jpeg: bytes | None = None
    """The picture as the camera compressed it, kept untouched in the recording."""

    def row_time_ns(self, row_px: float) -> int:
        """Mid-exposure of picture row `row_px`, in ns of the one clock."""
        return self.t_ns + round(row_px * self.line_ns + self.exposure_ns / 2)


class _Late:
    """A field that may hold a function; it is called when the field is first read, and its answer kept."""

    def __init__(self, member: Any) -> None:
        self._member = member

    def __get__(self, owner: object, kind: type | None = None) -> Any:
        if owner is None:
            return self
        held = self._member.__get__(owner, kind)
        if callable(held):
            held = held()
            self._member.__set__(owner, held)
        return held

    def __set__(self, owner: object, value: object) -> None:
        self._member.__set__(owner, value)


type.__setattr__(Frame, "image", _Late(vars(Frame)["image"]))


Quality: TypeAlias = Literal["measured", "bridged", "doubtful"]
"""How a position came about: seen · carried over a short gap · seen, but it may be something else."""


@dataclass(frozen=True, slots=True)
class Fix:
    """Where the boat is: waterline centroid on the water plane, tank frame, mm."""

    t_ns: int
    x_mm: float
    y_mm: float
    heading_deg: float
    """Direction of the bow, anticlockwise from +x."""
    covariance_mm2: tuple[float, float, float]
    """(xx, xy, yy)"""
    quality: Quality
    source: str
    bow_mm: float | None = None
    """From there ahead to the bow, where a ruler or the outline told it; None: as far as is usual."""


KeyName: TypeAlias = Literal["arm", "go", "stop", "keep", "void", "freed", "did_not_finish", "note"]


@dataclass(frozen=True, slots=True)
class Key:
    """A person's decision: a button, a key of the keyboard, a tap on a page."""

    t_ns: int
    key: KeyName
    source: str
    detail: str = ""
    """For example the reason of a void, or the words of a note."""


@dataclass(frozen=True, slots=True)
class Quiet:
    """'I live, and nothing up to t_ns is still to come from me.'"""

    t_ns: int
    source: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Trouble as data: what is wrong, since when, and the cure. Never an exception across threads."""

    t_ns: int
    source: str
    what: str
    cure: str
    since_ns: int | None = None
    """If given, records between since_ns and t_ns may be missing or wrong."""
    lasting: bool = False
    """True: the source has ended and will send nothing more."""


@dataclass(frozen=True, slots=True)
class ClockDoubt:
    """From now on the stamps of this source are known to lie on the one clock only within `u_ns`.

    For sources whose stamps do not come from the host's own clock, such as a board that counts by itself, or a camera
    whose pictures are stamped on arrival.
    """

    t_ns: int
    source: str
    u_ns: int
    """Standard uncertainty of one stamp."""
    words: str
    """How it is known, such as the answers that the clock was fitted to."""


Record: TypeAlias = Edge | Frame | Fix | Key | Quiet | Fault | ClockDoubt
