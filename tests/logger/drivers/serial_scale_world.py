"""A scale at the far end of a pseudo-terminal, with a pan, a spring that rings, and a printer."""

from __future__ import annotations

import math
import os
import pty
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.logger.drivers.contract_case import Case, Options


class FakeScale:
    """Prints a line every 20 ms: what the spring says of the load, rounded to the display's step."""

    def __init__(
        self, load_g: float, form: Callable[[float], str] = "{:8.1f} g\r\n".format, step_g: float = 0.1
    ) -> None:
        self.load_g, self.form, self._step_g = load_g, form, step_g
        self.ringing_g = 0.0
        self._far, self._near = pty.openpty()
        tty.setraw(self._near)
        self.port = os.ttyname(self._near)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._print)
        self._thread.start()

    def _print(self) -> None:
        count = 0
        os.write(self._far, b"99")  # the end of a line that was begun before
        while not self._over.wait(0.02):
            count += 1
            shown_g = self.load_g + self.ringing_g * math.sin(count * 1.3)
            os.write(self._far, self.form(round(shown_g / self._step_g) * self._step_g).encode("latin-1"))

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        os.close(self._far)
        os.close(self._near)


@contextmanager
def scale(load_g: float = 182.4, **how: object) -> Iterator[FakeScale]:
    there = FakeScale(load_g, **how)  # type: ignore[arg-type]
    try:
        yield there
    finally:
        there.close()


@contextmanager
def waiting(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    with scale() as there:
        yield {"port": there.port}


@contextmanager
def broken(recording: Path, _: pytest.MonkeyPatch) -> Iterator[Options]:
    yield {"port": str(recording / "nowhere")}


CASE = Case(waiting, waiting, broken, "there is no such port; plug the device in", speaks=False)
