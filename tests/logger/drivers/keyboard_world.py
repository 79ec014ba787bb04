"""A terminal for the keyboard."""

from __future__ import annotations

import os
import pty
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.logger.drivers.contract_case import Case, Options


@contextmanager
def terminal(*, pressed: bytes = b"", hang_up: bool = False) -> Iterator[Options]:
    """A terminal in which somebody has pressed these keys, and that is perhaps closed a moment later."""
    master, slave = pty.openpty()
    if pressed:
        tty.setraw(slave)  # or it would keep the letters until the end of the line
        os.write(master, pressed)
    timer = threading.Timer(0.3, os.close, (master,))
    if hang_up:
        timer.start()
    try:
        yield {"descriptor": slave}
    finally:
        if hang_up:
            timer.join()
        else:
            os.close(master)
        os.close(slave)


@contextmanager
def story(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    with terminal(pressed=b"ag", hang_up=True) as options:
        yield options


@contextmanager
def waiting(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    with terminal() as options:
        yield options


@contextmanager
def broken(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    yield {"descriptor": 9999}


CASE = Case(story, waiting, broken, "there is no keyboard", ends="unplugged")
