"""Builds the firmware for the ATmega328P and the simulator's runner, and runs them by a script of cycles."""

from __future__ import annotations

import shutil
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import pytest

PROJECT = Path(__file__).resolve().parents[2]
FIRMWARE = PROJECT / "hardware/firmware/avr_gates"
RUNNER = Path(__file__).with_name("simulated_avr.c")
HEADERS = Path("/usr/include/simavr")
HZ = 16_000_000
BYTE_CYCLES = HZ * 10 // 115_200 + 1
PINS = {0: ("B", 0), 1: ("D", 2)}
"""Gate -> its port and bit."""


@dataclass(frozen=True)
class Built:
    """Files that can be run."""

    firmware: Path
    runner: Path


def build(folder: Path) -> Built:
    """Both, or the test is skipped where the tools are missing."""
    missing = [tool for tool in ("avr-gcc", "gcc", "make") if shutil.which(tool) is None]
    missing += [] if HEADERS.is_dir() else ["simavr's headers"]
    if missing:
        pytest.skip(
            f"{', '.join(missing)} missing: apt-get install gcc make gcc-avr avr-libc libsimavr-dev libelf-dev proves "
            "the firmware in C"
        )
    shutil.copytree(FIRMWARE, folder / "avr_gates")
    runner = folder / "runner"
    subprocess.run(["make", "-s", "gates.elf"], cwd=folder / "avr_gates", check=True, timeout=60)
    libraries = [f"-I{HEADERS}", "-lsimavr", "-lelf"]
    command = ["gcc", "-O2", "-Wall", "-Wextra", "-Werror", "-o", str(runner), str(RUNNER), *libraries]
    subprocess.run(command, check=True, timeout=60)
    return Built(folder / "avr_gates/gates.elf", runner)


class Script:
    """What happens to the board, each thing at its cycle."""

    def __init__(self) -> None:
        self._steps: list[tuple[int, str]] = []
        self.said_until = 0

    def level(self, cycle: int, gate: int, level: int) -> None:
        port, bit = PINS[gate]
        self._steps.append((cycle, f"pin {port} {bit} {level}"))

    def say(self, cycle: int, text: bytes) -> int:
        """Send bytes as fast as the wire carries them; the cycle at which the first was there."""
        first = max(cycle, self.said_until)
        for index, byte in enumerate(text):
            self._steps.append((first + index * BYTE_CYCLES, f"say {byte:02x}"))
        self.said_until = first + len(text) * BYTE_CYCLES
        return first

    def text(self, until_cycle: int) -> str:
        """What happens up to then, for the runner; it is in the script no longer."""
        steps = sorted(self._steps, key=lambda step: step[0])
        self._steps = [step for step in steps if step[0] > until_cycle]
        return "".join(f"{cycle} {what}\n" for cycle, what in steps if cycle <= until_cycle)

    def run(self, built: Built, end_cycle: int) -> list[list[str]]:
        """The lines that the board said, as words, without their checksums, which are right."""
        script = f"{self.text(end_cycle)}{end_cycle} end\n"
        ran = subprocess.run(
            [str(built.runner), str(built.firmware)],
            input=script, capture_output=True, text=True, check=True, timeout=120,
        )  # fmt: skip
        sent = (line.split() for line in ran.stdout.splitlines() if line.startswith("> "))
        said = bytes(int(word[2], 16) for word in sent)
        lines = []
        for line in said.split(b"\n")[:-1]:
            text, _, check = line.rpartition(b" ")
            assert check == b"%08x" % zlib.crc32(text), line
            lines.append(text.decode().split(" "))
        return lines


class LockStep:
    """The board beside something else in Python, both in one simulated time: told up to when to go on."""

    def __init__(self, built: Built) -> None:
        self._built = built
        self.script = Script()

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(
            [str(self._built.runner), str(self._built.firmware)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()

    def go_on(self, until_cycle: int) -> list[tuple[int, int]]:
        """(cycle, byte) for each byte that the board gave to its transmitter; what is scripted later stays scripted."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{self.script.text(until_cycle)}{until_cycle} sync\n")
        self._process.stdin.flush()
        sent = []
        for line in self._process.stdout:
            if line.startswith("="):
                return sent
            if line.startswith("> "):
                _, cycle, byte = line.split()
                sent.append((int(cycle), int(byte, 16)))
        raise AssertionError("the simulator has ended")


def sealed(text: str) -> bytes:
    return f"{text} {zlib.crc32(text.encode()):08x}\n".encode()
