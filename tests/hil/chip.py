"""A GPIO chip of the real kernel whose inputs the test moves: gpio-sim, set up through configfs."""

from __future__ import annotations

import os
import time
from pathlib import Path
from types import TracebackType
from typing import Self

CONFIG = Path("/sys/kernel/config/gpio-sim")
SETTLE_NS = 3_000_000


class Chip:
    """A chip with `lines_count` lines, there as long as the `with` lasts. Its lines are pulled low at first."""

    def __init__(self, label: str, lines_count: int = 4) -> None:
        self.label, self._lines_count = label, lines_count
        self._folder = CONFIG / label
        self._pulls: list[int] = []
        self._is_live = False

    def __enter__(self) -> Self:
        bank = self._folder / "bank0"
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text(str(self._lines_count))
        (bank / "label").write_text(self.label)
        (self._folder / "live").write_text("1")
        self._is_live = True
        self.path = "/dev/" + (bank / "chip_name").read_text().strip()
        """The device file, such as /dev/gpiochip0."""
        platform = Path("/sys/devices/platform") / (self._folder / "dev_name").read_text().strip()
        self._lines = platform / Path(self.path).name
        self._pulls = [os.open(self._lines / f"sim_gpio{n}/pull", os.O_WRONLY) for n in range(self._lines_count)]
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for pull in self._pulls:
            os.close(pull)
        if self._is_live:
            self.unplug()
        (self._folder / "bank0").rmdir()
        self._folder.rmdir()

    @property
    def number(self) -> int:
        """N of /dev/gpiochipN."""
        return int(self.path.removeprefix("/dev/gpiochip"))

    def pull(self, line: int, high: bool) -> tuple[int, int]:
        """Move the outside of a line; (before_ns, after_ns) of CLOCK_MONOTONIC, between which it happened."""
        word = b"pull-up" if high else b"pull-down"
        before_ns = time.monotonic_ns()
        os.pwrite(self._pulls[line], word, 0)
        return before_ns, time.monotonic_ns()

    def is_high(self, line: int) -> bool:
        """What the line is at, as the kernel sees it."""
        return (self._lines / f"sim_gpio{line}/value").read_text().strip() == "1"

    def pull_file(self, line: int) -> str:
        """The file by which another program can move the outside of a line."""
        return str(self._lines / f"sim_gpio{line}/pull")

    def settle(self, line: int) -> None:
        """Give the interrupt's own thread its turn before the line moves again, or the kernel makes one edge of two."""
        ends_ns = time.monotonic_ns() + SETTLE_NS
        while time.monotonic_ns() < ends_ns:
            self.is_high(line)

    def unplug(self) -> None:
        """Take the chip away while it may be in use."""
        (self._folder / "live").write_text("0")
        self._is_live = False
