"""What the computer says of itself: heat, power, clock, load, software. Everything it reads is handed in.

Sources: temperatures in thousandths of a degree: the kernel's Documentation/driver-api/thermal/sysfs-api.rst. What the
bits of a Raspberry Pi's firmware mean, and that it slows its processors from 80 to 85 degrees on: Raspberry Pi
documentation, "vcgencmd, get_throttled" and "Frequency management and thermal control". STA_UNSYNC: adjtimex(2). The
limits of load, memory and heat are common practice, no source.
"""

from __future__ import annotations

import ctypes
import os
import platform
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from logger import __version__
from logger.drivers.interface import Finding

RELEASED = datetime(2026, 11, 1, tzinfo=UTC)
"""This software is not older; a clock that shows an earlier date was never set."""
HOT_DEGC = 75.0
BUSY_SHARE = 0.8
"""Programs at work for each processor, over the last minute."""
LEAST_MEMORY_BYTES = 200_000_000
ASLEEP_NS = 1_000_000
VCGENCMD_S = 2.0
STA_UNSYNC = 0x40
LIBRARIES = ("numpy", "scipy", "opencv-python", "gpiozero", "gpiod", "lgpio", "pyserial", "picamera2")

_POWER_NOW, _POWER_SINCE = 0, 16
_SLOW_NOW = {1: "its processors are held back", 2: "it is slowed down", 3: "it is near its heat limit"}
_SLOW_SINCE = {17: "its processors were held back", 18: "it was slowed down", 19: "it came near its heat limit"}
"""Bits of the firmware's word."""


@dataclass(frozen=True, slots=True)
class Machine:
    """How the computer is asked. Tests give other files and other answers."""

    root: Path = Path("/")
    """Where sys and proc are."""
    vcgencmd: str | None = "vcgencmd"
    """The Raspberry Pi's own command, if it is there."""
    wall: Callable[[], datetime] = lambda: datetime.now(UTC)
    is_clock_led: Callable[[], bool | None] = lambda: clock_is_led()
    """Whether something keeps the wall clock right; None: the computer does not say."""
    asleep_ns: Callable[[], int] = lambda: slept_ns()
    load: Callable[[], float] = lambda: os.getloadavg()[0]
    """Programs that ran or waited, mean over the last minute."""
    processors_count: int = os.cpu_count() or 1
    is_64_bit: bool = sys.maxsize > 2**32


def findings(machine: Machine) -> Iterator[Finding]:
    """What is to be said of the computer, part by part."""
    yield from _heat(machine)
    yield from _power(machine)
    yield _clock(machine)
    yield _sleep(machine.asleep_ns())
    yield _load(machine)
    yield from _memory(machine)
    yield _software(machine)


def _heat(machine: Machine) -> Iterator[Finding]:
    zones = {}
    for zone in sorted(machine.root.glob("sys/class/thermal/thermal_zone*")):
        milli = _number(zone / "temp")
        if milli is not None and 0 < milli < 150_000:  # some zones have no sensor behind them and say 0 or -273
            zones[_text(zone / "type") or zone.name] = milli / 1000
    if not zones:
        return
    name, hottest = max(zones.items(), key=lambda item: item[1])
    found = f"{hottest:.0f} degrees C at {name}"
    if hottest < HOT_DEGC:
        yield Finding("computer: heat", "well", found)
    else:
        cure = "give it air and keep the sun off it; a hot computer slows down and loses pictures"
        yield Finding("computer: heat", "doubtful", found, cure)


def _power(machine: Machine) -> Iterator[Finding]:
    word = _firmware_word(machine)
    if word is None:
        return
    part = "computer: power"
    supply = "use the computer's own power supply and a short cable, and unplug what it need not feed"
    bits = {bit for bit in range(32) if word >> bit & 1}
    slow = [words for bit, words in _SLOW_NOW.items() if bit in bits]
    was_slow = [words for bit, words in _SLOW_SINCE.items() if bit in bits]
    if _POWER_NOW in bits:
        yield Finding(part, "wrong", "too little voltage now", supply)
    elif _POWER_SINCE in bits:
        yield Finding(part, "doubtful", "too little voltage at some time since it was switched on", supply)
    else:
        yield Finding(part, "well", "enough voltage since it was switched on")
    cool = "give it air and a good power supply"
    if slow:
        yield Finding("computer: speed", "doubtful", " and ".join(slow) + " now", cool)
    elif was_slow:
        yield Finding("computer: speed", "doubtful", " and ".join(was_slow) + " since it was switched on", cool)


def _firmware_word(machine: Machine) -> int | None:
    """The Raspberry Pi firmware's word on power and heat; None on any other computer.

    Asked by its command first: newer kernels warn in their log when the file is read.
    """
    command = shutil.which(machine.vcgencmd) if machine.vcgencmd else None
    if command is not None:
        try:
            done = subprocess.run(  # noqa: S603
                [command, "get_throttled"], capture_output=True, text=True, timeout=VCGENCMD_S, check=True
            )
            return int(done.stdout.strip().rpartition("=")[2], 0)
        except (OSError, ValueError, subprocess.SubprocessError):
            pass
    text = _text(machine.root / "sys/devices/platform/soc/soc:firmware/get_throttled")
    try:
        return None if text is None else int(text, 16)
    except ValueError:
        return None


def _clock(machine: Machine) -> Finding:
    part, now = "computer: date", machine.wall()
    cure = "set it over the network, from a phone or computer that opens the station's page, or with date -s"
    shown = f"{now.astimezone():%Y-%m-%d %H:%M}"
    if now < RELEASED:
        return Finding(part, "doubtful", f"it shows {shown}, before this software was made: it was never set", cure)
    led = machine.is_clock_led()
    if led is None:
        return Finding(part, "well", f"it shows {shown}; whether something keeps it right is not known")
    if not led:
        found = f"it shows {shown}, but nothing keeps it right; dates may be wrong, times within a run are not touched"
        return Finding(part, "doubtful", found, "compare it with a watch, and " + cure)
    return Finding(part, "well", f"it shows {shown}, kept right over the network or by a time receiver")


def _sleep(asleep_ns: int) -> Finding:
    part = "computer: sleep"
    if asleep_ns < ASLEEP_NS:
        return Finding(part, "well", "it has not slept since it was switched on: its clocks agree")
    cure = "switch sleeping off and start it anew, or a camera's clock may be ahead of the gates' by as much"
    return Finding(part, "doubtful", f"it has slept for {asleep_ns / 1e9:.3f} s since it was switched on", cure)


def _load(machine: Machine) -> Finding:
    part, load = "computer: load", machine.load()
    found = f"{load:.1f} programs at once over the last minute, for {machine.processors_count} processors"
    if load < BUSY_SHARE * machine.processors_count:
        return Finding(part, "well", found)
    return Finding(part, "doubtful", found, "end other programs, or pictures and edges may be lost")


def _memory(machine: Machine) -> Iterator[Finding]:
    lines = (_text(machine.root / "proc/meminfo") or "").splitlines()
    words = next((line.split() for line in lines if line.startswith("MemAvailable:")), [])
    if len(words) < 2 or not words[1].isdigit():
        return
    free_bytes = int(words[1]) * 1024
    found = f"{free_bytes / 1e6:.0f} MB are free"
    if free_bytes < LEAST_MEMORY_BYTES:
        yield Finding("computer: memory", "doubtful", found, "end other programs")
    else:
        yield Finding("computer: memory", "well", found)


def _software(machine: Machine) -> Finding:
    found = ", ".join(f"{name} {number}" for name, number in software().items())
    if machine.is_64_bit:
        return Finding("computer: software", "well", found)
    cure = "install a 64-bit system: vision libraries are made for it only"
    return Finding("computer: software", "doubtful", f"{found}; a 32-bit system", cure)


def software() -> Mapping[str, str]:
    """Name -> version of what is at work here, as far as it is installed."""
    found = {"boatrun": __version__, "Python": platform.python_version(), platform.system(): platform.release()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


class _Timex(ctypes.Structure):
    """struct timex of <sys/timex.h>, as far as it is read, with room for the rest."""

    _fields_ = (
        ("modes", ctypes.c_uint), ("offset", ctypes.c_long), ("freq", ctypes.c_long), ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long), ("status", ctypes.c_int), ("rest", ctypes.c_char * 256),
    )  # fmt: skip


def clock_is_led() -> bool | None:
    """Whether the kernel's wall clock is kept right by anybody (adjtimex, nothing is set); None: it does not say.

    The kernel is asked and no program that sets clocks, because there are several of these.
    """
    asked = _Timex()
    try:
        answer = ctypes.CDLL(None).adjtimex(ctypes.byref(asked))
    except (OSError, AttributeError):
        return None
    return None if answer < 0 else not asked.status & STA_UNSYNC


def slept_ns() -> int:
    """How long the computer has slept since it was switched on: only CLOCK_BOOTTIME counts that."""
    before_ns = time.monotonic_ns()
    boot_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    return boot_ns - (before_ns + time.monotonic_ns()) // 2


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        return None


def _number(path: Path) -> int | None:
    text = _text(path)
    try:
        return None if text is None else int(text)
    except ValueError:
        return None
