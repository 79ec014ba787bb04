"""A gate board at the far end of a serial port: the real firmware in a process of its own, on a pseudo-terminal."""

from __future__ import annotations

import contextlib
import os
import pty
import shutil
import subprocess
import sys
import tty
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import pytest

PROJECT = Path(__file__).resolve().parents[2]
FIRMWARE = PROJECT / "hardware/firmware/rp2040_gates/main.py"
STAND_IN = Path(__file__).parent / "stand_in"
MICROPYTHON = shutil.which("micropython")
INTERPRETERS = (
    pytest.param(None, id="cpython"),
    pytest.param(
        MICROPYTHON,
        id="micropython",
        marks=pytest.mark.skipif(
            MICROPYTHON is None, reason="no micropython here (Debian 13 has it: apt-get install micropython)"
        ),
    ),
)
"""What the firmware is run under: None is this CPython, which is everywhere."""


@dataclass(frozen=True)
class Happened:
    """An edge that was made, and between which times of the host's clock it was."""

    gate: int
    level: int
    before_ns: int
    after_ns: int


class Board:
    """Plug it in by `with`; `port` is where it is found, as long as it is plugged in."""

    def __init__(
        self, folder: Path, *, start_us: int = 5_000_000, ppm: float = 40.0, micropython: str | None = None
    ) -> None:
        self.port = folder / "gates"
        self._micropython = micropython
        self._start_us, self._ppm = start_us, ppm
        self._process: subprocess.Popen[bytes] | None = None
        self._ends: tuple[int, int] | None = None
        self._control = self._report = -1

    def __enter__(self) -> Self:
        self.plug_in()
        return self

    def __exit__(self, *_: object) -> None:
        self.unplug()

    def plug_in(self) -> None:
        self._ends = pty.openpty()
        tty.setraw(self._ends[1])
        self.port.unlink(missing_ok=True)
        self.port.symlink_to(os.ttyname(self._ends[1]))
        self.switch_on()

    def switch_on(self) -> None:
        """Start the firmware."""
        assert self._ends is not None
        far_control, self._control = os.pipe()
        self._report, far_report = os.pipe()
        environment = os.environ | {
            "BOARD_CONTROL": str(far_control),
            "BOARD_REPORT": str(far_report),
            "BOARD_START_US": str(self._start_us),
            "BOARD_PPM": str(self._ppm),
        }
        command = [sys.executable, str(STAND_IN / "run.py"), str(FIRMWARE)]
        if self._micropython is not None:
            command = [self._micropython, str(FIRMWARE)]
            environment["MICROPYPATH"] = str(STAND_IN / "micropython")
        self._process = subprocess.Popen(
            command,
            stdin=self._ends[0],
            stdout=self._ends[0],
            env=environment,
            pass_fds=(far_control, far_report),
        )
        os.close(far_control)
        os.close(far_report)
        assert self._answer() == b"up\n"

    def switch_off(self) -> None:
        """Take away its supply; the port stays."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            os.close(self._control)
            os.close(self._report)
            self._process = None

    def reset(self) -> None:
        """As by its reset button, behind a port that stays."""
        self.switch_off()
        self.switch_on()

    def unplug(self) -> None:
        self.switch_off()
        if self._ends is not None:
            for end in self._ends:
                with contextlib.suppress(OSError):
                    os.close(end)
            self._ends = None
            self.port.unlink()

    def send(self, signal_number: int) -> None:
        """Send the firmware's process a signal: SIGSTOP lets it stand still, SIGCONT go on."""
        assert self._process is not None
        self._process.send_signal(signal_number)

    def say(self, data: bytes) -> None:
        """Bytes that are not the firmware's, on the way to the host."""
        assert self._ends is not None
        os.write(self._ends[0], data)

    def hear(self) -> bytes:
        """What the host says, where there is no firmware to hear it."""
        assert self._ends is not None
        return os.read(self._ends[0], 4096)

    def edge(self, gate: int, level: int, count: int = 1) -> Happened:
        """The gate's pin goes to that level; with a count, that many edges follow at once, there and back."""
        os.write(self._control, b"%d %d %d\n" % (gate, level, count))
        before, after = self._answer().split()
        return Happened(gate, level, int(before), int(after))

    def pulse(self, gate: int) -> None:
        """There and back so fast that the interrupt comes when all is over."""
        os.write(self._control, b"%d 0 0\n" % gate)
        self._answer()

    def _answer(self) -> bytes:
        answer = b""
        while not answer.endswith(b"\n"):
            got = os.read(self._report, 64)
            assert got, "the firmware has ended"
            answer += got
        return answer
