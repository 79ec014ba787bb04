"""A keyboard as a panel: one key for each decision. Works from a pipe as well, where each letter is a key.

The stamp is the moment at which the key was read, a few milliseconds after it was pressed; for people that is good
enough, and a go signal that must be better has its button on a pin.
"""

from __future__ import annotations

import os
import select
import termios
import time
import tty
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, ClassVar, Self

from logger.config import Count
from logger.drivers.interface import Stop
from logger.drivers.pace import quiets
from logger.errors import DriverError
from logger.records import Fault, Key, KeyName, Quiet

KEYS: Mapping[str, KeyName] = {
    "a": "arm", "g": "go", "s": "stop", "k": "keep", "v": "void", "f": "freed", "d": "did_not_finish",
}  # fmt: skip
_WAIT_S = 0.05
_MOST_BYTES = 64


@dataclass(frozen=True, slots=True)
class KeyboardOptions:
    """What rig.toml says of a keyboard."""

    descriptor: Count = 0
    """Number of the open file that the keys come from; 0: standard input."""


class KeyboardPanel:
    """Keys from a terminal, which shows them as they are pressed, or from a pipe."""

    Options: ClassVar[type] = KeyboardOptions

    def __init__(self, options: KeyboardOptions, *, name: str, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self.name = name
        self._descriptor, self._clock = options.descriptor, clock
        self._before: list[Any] | None = None

    def __enter__(self) -> Self:
        try:
            os.fstat(self._descriptor)
            if os.isatty(self._descriptor):
                self._before = termios.tcgetattr(self._descriptor)
                tty.setcbreak(self._descriptor, termios.TCSANOW)  # a key counts at once, not at the end of a line
        except OSError as error:
            raise DriverError(
                f"{self.name}: there is no keyboard ({error.strerror}); start the program from a terminal"
            ) from error
        return self

    def __exit__(self, *_: object) -> None:
        if self._before is not None:
            with suppress(termios.error):  # the terminal may be gone
                termios.tcsetattr(self._descriptor, termios.TCSANOW, self._before)
            self._before = None

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """Each key as it is pressed; letters that mean nothing are left out. Goes on in silence when the keys end."""
        source: int | None = self._descriptor
        last_ns = self._clock()
        yield Quiet(last_ns, self.name)
        while not stop.is_set():
            readable = select.select([] if source is None else [source], [], [], _WAIT_S)[0]
            letters = self._read() if readable else ""
            keys = [KEYS[letter] for letter in letters or "" if letter in KEYS]
            now_ns = max(last_ns + 1 + len(keys), self._clock())
            # this thread may not have been let run for a while
            yield from quiets(self.name, since_ns=last_ns, until_ns=now_ns - len(keys))
            for left, key in zip(range(len(keys), 0, -1), keys, strict=True):
                yield Key(now_ns - left, key, self.name)
            last_ns = now_ns
            if letters is None and self._before is not None:
                yield Fault(now_ns, self.name, "the terminal is gone", "start anew in another one", lasting=True)
                return
            if letters is None:
                source = None  # the pipe has come to its end: nothing more will be pressed
            yield Quiet(now_ns, self.name)

    def _read(self) -> str | None:
        """What was pressed; None: nothing more will come."""
        try:
            data = os.read(self._descriptor, _MOST_BYTES)
        except OSError:
            return None
        return data.decode("ascii", errors="replace").lower() if data else None
