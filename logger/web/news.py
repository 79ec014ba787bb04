"""What is new on the board, for every browser that watches: by server-sent events, each drawn once for all alike."""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
from collections.abc import AsyncIterator, Callable
from dataclasses import replace

from logger.lesson.board import Board
from logger.lesson.desk import Desk

HEARTBEAT_S = 10.0
LOOK_S = 0.5
"""So often it is looked whether the station is being shut."""
LEAST_S = 0.1
"""A browser is told at most so often."""
_KEPT_COUNT = 8


class News:
    """Hands every new board on to the loops of those who watch."""

    def __init__(self, desk: Desk, *, clock_ns: Callable[[], int], ending: threading.Event | None = None) -> None:
        """Listen to the desk; when `ending` is set, those who watch are let go within a second."""
        self._clock_ns, self._ending = clock_ns, ending or threading.Event()
        self._lock = threading.Lock()
        self._watching: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()
        self._shown = desk.board()
        self._drawn: dict[tuple[int, str], str] = {}
        desk.listen(self._new)

    @property
    def board(self) -> Board:
        """The newest that looks different."""
        return self._shown

    def age_s(self, since_ns: int | None) -> float | None:
        """How long ago that was."""
        return None if since_ns is None else round((self._clock_ns() - since_ns) / 1e9, 3)

    def drawn(self, board: Board, how: str, draw: Callable[[Board], str]) -> str:
        """`draw(board)`, drawn once for all who see it in the same way `how`."""
        key = (board.version, how)
        if key not in self._drawn:
            self._drawn[key] = draw(board)
            while len(self._drawn) > _KEPT_COUNT:
                del self._drawn[next(iter(self._drawn))]
        return self._drawn[key]

    async def changes(self) -> AsyncIterator[Board]:
        """The board now, and again whenever it has changed, at least every `HEARTBEAT_S`."""
        woken = asyncio.Event()
        who = (asyncio.get_running_loop(), woken)
        with self._lock:
            self._watching.add(who)
        try:
            while True:
                woken.clear()
                yield self._shown
                await asyncio.sleep(LEAST_S)
                for _ in range(round(HEARTBEAT_S / LOOK_S)):
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(woken.wait(), LOOK_S)
                    if self._ending.is_set():
                        return
                    if woken.is_set():
                        break
        finally:
            with self._lock:
                self._watching.discard(who)

    async def events(self, part: Callable[[Board], str]) -> AsyncIterator[str]:
        """Server-sent events (HTML standard, 9.2): `part(board)` whenever it has changed, with the board as a table."""
        told = None
        yield "retry: 1500\n\n"
        async for board in self.changes():
            text = part(board)
            if text == told:
                yield ": it goes on\n\n"
                continue
            told = text
            content = {
                "version": board.version, "running_s": self.age_s(board.running_ns), "part": text,
                "board": board.table(),
            }  # fmt: skip
            yield f"event: board\nid: {board.version}\ndata: {json.dumps(content, ensure_ascii=False)}\n\n"

    def _new(self, board: Board) -> None:
        """From whatever thread. Where the boat is, is not shown on these pages and wakes nobody."""
        if replace(board, version=0, boat_mm=None) == replace(self._shown, version=0, boat_mm=None):
            return
        self._shown = board
        with self._lock:
            for loop, woken in list(self._watching):
                with contextlib.suppress(RuntimeError):  # that loop has ended
                    loop.call_soon_threadsafe(woken.set)
