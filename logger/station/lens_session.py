"""Watch a person show a board to the camera, and say what is still missing, until it is enough.

The camera's own thread only keeps its newest picture; it is looked at here, as often as this computer can. A picture is
kept if the board in it is sharp and unlike all that were kept. Nobody has to press anything.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.board import Board, BoardSeen, NoBoard, grey
from calibration.lens_coverage import Coverage, coverage
from calibration.lens_views import SAME_SHARE, likeness, quality
from logger.drivers.interface import CameraDriver
from logger.errors import DriverError
from logger.records import Fault, Frame

PATIENCE_S = 5.0
ENOUGH_COUNT, MOST_COUNT = 15, 40
_SAY_AGAIN_S = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What a session brought."""

    pictures: tuple[tuple[str, NDArray[np.uint8]], ...]
    """Name and grey picture of each kept view."""
    shown: Coverage
    """What they cover, with a usual lens in mind."""
    faults: tuple[str, ...]
    """What the camera had to say against itself."""


@dataclass(slots=True)
class _Newest:
    """The newest picture, handed from the camera's thread to the one that looks."""

    changed: threading.Condition = field(default_factory=threading.Condition)
    frame: Frame | None = None
    ended: bool = False
    trouble: Exception | None = None
    faults: list[str] = field(default_factory=list)

    def take(self, within_s: float) -> Frame | None:
        """The newest picture that was not taken before; None when the camera has ended."""
        with self.changed:
            there = self.changed.wait_for(lambda: self.frame is not None or self.ended, within_s)
            if self.trouble is not None:
                raise self.trouble
            if not there:
                raise DriverError(f"camera: it sent no picture within {within_s:g} s; check its cable and its driver")
            frame, self.frame = self.frame, None
            return frame


def watch(
    camera: CameraDriver,
    board: Board,
    *,
    length_s: float,
    told: Callable[[str], None] = lambda _: None,
    shown: Callable[[Coverage], None] = lambda _: None,
    enough: Callable[[], bool] = lambda: False,
    clock_ns: Callable[[], int] = time.monotonic_ns,
) -> Shown:
    """Watch for at most `length_s`, or until enough views were seen and nothing is missing.

    Args:
        camera: open.
        board: what is shown.
        length_s: the longest to wait.
        told: is told what was seen and what is still wanted, a sentence at a time.
        shown: is shown what is covered, after each view that is kept.
        enough: is asked after each picture; True ends it with what there is.
        clock_ns: a clock that never goes back.

    Raises:
        DriverError: the camera sent no pictures or stopped sending them.
    """
    newest, stop = _Newest(), threading.Event()
    listener = threading.Thread(target=_listen, args=(camera, newest, stop), name="lens camera", daemon=True)
    listener.start()
    keeper = _Keeper(board)
    until_ns, say_ns, said = clock_ns() + round(length_s * 1e9), 0, ""
    try:
        while clock_ns() < until_ns:
            frame = newest.take(PATIENCE_S)
            if frame is None:
                break
            before = len(keeper.views)
            news = keeper.look(grey(np.asarray(frame.image)))
            if len(keeper.views) > before:
                shown(keeper.shown)
            all_seen = len(keeper.views) >= ENOUGH_COUNT and not keeper.shown.advice
            if all_seen or len(keeper.views) >= MOST_COUNT or enough():
                break
            if news != said or clock_ns() > say_ns:
                said, say_ns = news, clock_ns() + round(_SAY_AGAIN_S * 1e9)
                told(news)
    finally:
        stop.set()
        listener.join(PATIENCE_S)
    return Shown(tuple(keeper.pictures.items()), keeper.shown, tuple(newest.faults))


class _Keeper:
    """The views so far."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self.views: dict[str, BoardSeen] = {}
        self.pictures: dict[str, NDArray[np.uint8]] = {}
        self.shown = coverage({})

    def look(self, picture: NDArray[np.uint8]) -> str:
        """Keep the picture if it adds something; what to tell the person."""
        found = self._board.find(picture)
        if isinstance(found, NoBoard):
            return f"{self._count()}; no board in the picture ({found.reason})"
        trouble = quality(picture, found).trouble
        if trouble:
            return f"{self._count()}; {trouble}"
        name = f"view {len(self.views) + 1}"
        if self.views and self._nearest(found) < SAME_SHARE:
            return f"{self._count()}; move the board: {self._wish()}"
        self.views[name], self.pictures[name] = found, picture
        self.shown = coverage(self.views)
        return f"{self._count()}; {self._wish()}"

    def _count(self) -> str:
        return f"{len(self.views)} view" + ("" if len(self.views) == 1 else "s")

    def _nearest(self, found: BoardSeen) -> float:
        places = likeness({**self.views, "new": found})
        new = places.pop("new")
        return min(float(np.linalg.norm(new - place)) for place in places.values())

    def _wish(self) -> str:
        return self.shown.advice[0] if self.shown.advice else "a few more from other sides"


def _listen(camera: CameraDriver, newest: _Newest, stop: threading.Event) -> None:
    trouble: Exception | None = None
    try:
        for record in camera.records(stop):
            if isinstance(record, Frame):
                with newest.changed:
                    newest.frame = record
                    newest.changed.notify_all()
            elif isinstance(record, Fault):
                with newest.changed:
                    newest.faults.append(f"{record.what}; {record.cure}")
                if record.lasting:
                    trouble = DriverError(f"{record.source}: {record.what}; {record.cure}")
    except Exception as error:
        trouble = error
    with newest.changed:
        newest.ended, newest.trouble = True, trouble
        newest.changed.notify_all()
