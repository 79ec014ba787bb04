"""A gate board with the real firmware at the far end of a serial line of the machine."""

from __future__ import annotations

import contextlib
import os
import termios
import tty
from pathlib import Path

from tests.hardware.board import Board


class CabledBoard(Board):
    """As `Board`, but behind a port of the kernel's instead of a pseudo-terminal."""

    def __init__(self, folder: Path, *, near: str, far: str) -> None:
        """`near` is the host's end, `far` the board's."""
        super().__init__(folder)
        self.port, self._far = Path(near), far

    def plug_in(self) -> None:
        end = os.open(self._far, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(end)
        self._ends = (end, os.dup(end))
        self.switch_on()

    def unplug(self) -> None:
        self.switch_off()
        if self._ends is not None:
            for end in self._ends:
                with contextlib.suppress(OSError, termios.error):
                    termios.tcflush(end, termios.TCOFLUSH)  # else closing waits half a minute for somebody to read it
                    os.close(end)
            self._ends = None
