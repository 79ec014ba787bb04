"""Work that takes seconds or minutes: done beside the pages, in a thread of its own, its progress told as it goes.

One at a time: there is one camera, and a small computer. Whoever comes second is told what is under way.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
import threading
from collections.abc import AsyncIterator, Callable
from typing import Literal, TypeAlias

from logger.errors import InputError, LoggerError

State: TypeAlias = Literal["running", "done", "failed", "stopped"]
_KEPT_COUNT, _MOST_NEWS = 20, 400
log = logging.getLogger(__name__)


class StoppedError(Exception):
    """A person has asked for it."""


class Job:
    """One piece of work. `work` runs in a thread and is given this; the pages ask it how far it is."""

    def __init__(self, number: int, title: str, back: str, *, has_enough: bool) -> None:
        self.number, self.title, self.back = number, title, back
        self.has_enough = has_enough
        """Whether a person may say "enough" and have what there is so far used."""
        self.state: State = "running"
        self.news: list[str] = []
        self.where = ""
        """Where its result is to be seen, once it is done."""
        self.wrong = ""
        self.sketch = ""
        """A drawing (SVG) of how far it is, if there is one."""
        self.enough = threading.Event()
        self._stop = threading.Event()
        self._loop = asyncio.get_running_loop()
        self._waiting: set[asyncio.Event] = set()

    def say(self, sentence: str) -> None:
        """From the work: tell how far it is. StoppedError: somebody wants it to end here."""
        if self._stop.is_set():
            raise StoppedError
        if not self.news or self.news[-1] != sentence:
            if len(self.news) < _MOST_NEWS:
                self.news.append(sentence)
            else:
                self.news[-1] = sentence
        self._tell()

    def draw(self, sketch: str) -> None:
        """From the work: show how far it is."""
        self.sketch = sketch
        self._tell()

    def stop(self) -> None:
        """Ask it to end; it does so at its next sentence, and nothing of it is kept."""
        self._stop.set()
        self.enough.set()

    async def changes(self, every_s: float) -> AsyncIterator[None]:
        """Yield whenever there is something new, at least `every_s`, and once more at its end."""
        woken = asyncio.Event()
        self._waiting.add(woken)
        try:
            while True:
                woken.clear()
                is_over = self.state != "running"  # asked before, so that whoever is told of the end is told by it
                yield
                if is_over:
                    return
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(woken.wait(), every_s)
        finally:
            self._waiting.discard(woken)

    def do(self, work: Callable[[Job], str]) -> None:
        """Do it, in the thread that calls; nothing that it raises comes out."""
        try:
            where = work(self)
            self.where, self.state = where, "done"
        except StoppedError:
            self.state = "stopped"
        except (LoggerError, ValueError) as error:
            if not isinstance(error, LoggerError):
                log.exception("%s", self.title)
            self.wrong, self.state = " ".join(str(error).split()), "failed"
        except Exception as error:
            log.exception("%s", self.title)
            self.wrong = f"this is a fault of the program, not yours ({type(error).__name__}: {error})"
            self.state = "failed"
        self._tell()

    def _tell(self) -> None:
        def wake() -> None:
            for woken in list(self._waiting):
                woken.set()

        with contextlib.suppress(RuntimeError):  # the pages have been shut while it was at work
            self._loop.call_soon_threadsafe(wake)


class Jobs:
    """All work; used from the pages' own loop only."""

    def __init__(self) -> None:
        self._numbers = itertools.count(1)
        self._kept: dict[int, Job] = {}

    @property
    def under_way(self) -> Job | None:
        """What is being done now."""
        return next((job for job in self._kept.values() if job.state == "running"), None)

    def get(self, number: int) -> Job | None:
        """The one of that number, if it is still known."""
        return self._kept.get(number)

    def begin(self, title: str, work: Callable[[Job], str], *, back: str, has_enough: bool = False) -> Job:
        """Begin it; `work` gives back where its result is to be seen, `back` is the page to go to if it fails.

        Raises:
            InputError: something else is under way.
        """
        busy = self.under_way
        if busy is not None:
            raise InputError(f"“{busy.title}” is still under way; wait for it, or stop it first")
        job = Job(next(self._numbers), title, back, has_enough=has_enough)
        self._kept[job.number] = job
        while len(self._kept) > _KEPT_COUNT:
            del self._kept[next(iter(self._kept))]
        threading.Thread(target=job.do, args=(work,), name=f"page job {job.number}", daemon=True).start()
        return job
