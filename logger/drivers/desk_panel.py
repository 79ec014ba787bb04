"""People's decisions on a page, as a panel of the run: they take the same way as those of a button.

The stamp is the moment at which the page's word arrived here, some milliseconds after the tap and as long again as the
network takes; a go that must be better has its button on a pin.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from logger.drivers.interface import Shown, Stop
from logger.drivers.pace import quiets
from logger.records import Fault, Key, KeyName, Quiet

_WAIT_S = 0.05


@dataclass(frozen=True, slots=True)
class DeskOptions:
    """There is nothing to choose."""


class DeskPanel:
    """Told by `press`, from any thread, as long as a run listens."""

    Options: ClassVar[type] = DeskOptions

    def __init__(
        self, options: DeskOptions = DeskOptions(), *, name: str, clock: Callable[[], int] = time.monotonic_ns
    ) -> None:
        self.name, self._clock = name, clock
        self._pressed: queue.SimpleQueue[tuple[int, KeyName, str]] = queue.SimpleQueue()

    def __enter__(self) -> Self:
        while not self._pressed.empty():
            self._pressed.get_nowait()  # what was pressed for an earlier run
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def press(self, key: KeyName, detail: str = "") -> None:
        """Somebody has decided this, now."""
        self._pressed.put((self._clock(), key, detail))

    def show(self, shown: Shown) -> None:
        """The page has a board of its own."""

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """Each key as it is pressed, until `stop` is set."""
        last_ns = self._clock()
        yield Quiet(last_ns, self.name)
        while not stop.is_set():
            try:
                t_ns, key, detail = self._pressed.get(timeout=_WAIT_S)
            except queue.Empty:
                t_ns = self._clock()
                yield from quiets(self.name, since_ns=last_ns, until_ns=t_ns)
                last_ns = max(last_ns, t_ns)
                yield Quiet(last_ns, self.name)
                continue
            # a Quiet may have been said between the press and now
            t_ns = max(t_ns, last_ns + 1)
            yield from quiets(self.name, since_ns=last_ns, until_ns=t_ns)
            yield Key(t_ns, key, self.name, detail)
            last_ns = t_ns
