"""A scale that prints what it shows, over and over, over a serial port: plain lines of a value and its unit.

No maker's form is asked for. A line is understood if it holds one number, with point or comma, and after it g or kg;
words, blanks and commas before the number are let pass. Nothing is guessed: a line without a unit, with two numbers,
below zero or without a number (overload, or a message) is no weight, and what it was is said where no weight comes.

Such lines have no checksum, so a digit may get lost on the way. Therefore a weight counts only when several lines
in a row agree within one step of the display.
"""

from __future__ import annotations

import math
import re
import statistics
import time
from collections import deque
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, ClassVar, Literal, Self, TypeAlias

from logger.drivers.interface import Finding, Weighing
from logger.drivers.serial_line import Bits, LineGoneError, SerialLine
from logger.errors import DriverError
from logger.settings import Range, Text

AGREE_COUNT = 5
"""So many lines in a row must agree."""
AGREE_NS = 400_000_000
"""And over no shorter time: a scale that prints fast has not come to rest in five lines."""
LOOK_S = 1.5
"""So long the self-test listens."""
MOST_LINES_COUNT = 1000
SHOWN_LETTERS_COUNT = 40

Mark: TypeAlias = Literal["any", "point", "comma"]
_VALUE = re.compile(r"[^\d+\-]*(?P<sign>[+-]?)\s*(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>kg|g)(?![a-z\d])[^\d]*", re.I)
_BARE = re.compile(r"[^\d+\-]*[+-]?\s*\d+(?:[.,]\d+)?\s*")


@dataclass(frozen=True, slots=True)
class SerialScaleOptions:
    """What rig.toml says of a scale."""

    port: Annotated[str, Text(most=200, least=1)]
    """A path, such as "/dev/ttyUSB0", or the USB identity "usb:vendor:product" or "usb:vendor:product:number"."""
    baud_hz: Annotated[int, Range(least=300, most=1_000_000)] = 9600
    """Bits a second, as the scale is set."""
    bits: Bits = "8N1"
    """Data bits, parity, stop bits, as the scale is set."""
    decimal_mark: Mark = "any"
    """Point or comma; "any" takes either, and refuses what could be read in two ways."""
    step_g: Annotated[float, Range(above=0)] | None = None
    """The scale's step (d on its plate), if it is more than its last digit, as in a display that goes 0, 5, 10."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one line says."""

    mass_g: float
    step_g: float
    """The last digit's."""


def reading(line: bytes, *, decimal_mark: Mark = "any") -> Reading:
    """What the scale shows by this line.

    Raises:
        ValueError: it shows no weight; says in words what it is instead.
    """
    text = line.decode("ascii", errors="replace").strip()
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)[:SHOWN_LETTERS_COUNT]
    found = _VALUE.fullmatch(text)
    if found is None or _is_cut(text[: found.start("sign")]):
        raise ValueError(f'found "{shown}", {_what_instead(text)}')
    number = found["number"]
    mark = "," if "," in number else "." if "." in number else ""
    if mark and decimal_mark not in ("any", {",": "comma", ".": "point"}[mark]):
        raise ValueError(f'found "{shown}", whose mark is not the {decimal_mark} that decimal_mark says')
    whole, _, decimals = number.partition(mark) if mark else (number, "", "")
    if mark and len(decimals) == 3 and found["unit"].lower() == "g" and decimal_mark == "any":
        raise ValueError(f'found "{shown}", which may be thousands or thousandths; say which by decimal_mark')
    grams = 1000 if found["unit"].lower() == "kg" else 1
    value = Decimal(f"{found['sign']}{whole}.{decimals or '0'}") * grams
    if value < 0:
        raise ValueError(f'found "{shown}", which is below zero; empty the pan, set it to zero, put the boat on it')
    return Reading(float(value), float(Decimal(grams).scaleb(-len(decimals))))


def _is_cut(before: str) -> bool:
    """The number began before what was found: its whole part is missing, as in ".5 g". "net,5 g" is no such case."""
    return before[-1:] in (".", ",") and not before[-2:-1].isalpha()


def _what_instead(text: str) -> str:
    if not text:
        return "an empty line"
    if not any(letter.isdigit() for letter in text):
        return "which is no number: too much load, or a message of the scale"
    if _BARE.fullmatch(text):
        return "which has no unit; set the scale to print g or kg"
    return 'which is not one value in g or kg, as in "123.4 g"'


class SerialScale:
    """A scale on a serial port. Reads only while it is asked to weigh."""

    Options: ClassVar[type] = SerialScaleOptions

    def __init__(self, options: SerialScaleOptions, *, name: str) -> None:
        self.name, self._options = name, options
        self._line = SerialLine(
            options.port, baud_hz=options.baud_hz, name=name, bits=options.bits, returns_end_lines=True
        )

    def __enter__(self) -> Self:
        self._line.open()
        return self

    def __exit__(self, *_: object) -> None:
        self._line.close()

    def weigh(self, timeout_s: float) -> Weighing:
        """The next steady reading, or the last one where it does not become steady in time.

        What was printed before this call does not count. A reading that is not steady has the scatter of the last
        readings in its uncertainty.

        Raises:
            DriverError: no weight came; says what came instead.
        """
        end_ns = time.monotonic_ns() + round(timeout_s * 1e9)
        last: deque[Weighing] = deque(maxlen=MOST_LINES_COUNT)
        why = "nothing came; set the scale to print continuously, check its cable, its speed and its bits"
        try:
            self._line.forget()
            while time.monotonic_ns() < end_ns:
                heard = self._line.read()
                for line in filter(bytes.strip, heard.lines):
                    try:
                        last.append(self._weighing(line, heard.t_ns))
                    except ValueError as error:
                        why = str(error)
                        last.clear()
                    if is_steady(last):
                        return Weighing(last[-1].t_ns, last[-1].mass_g, last[-1].u_mass_g, is_steady=True)
        except LineGoneError as error:
            raise DriverError(f"{self._where}: the port has gone: {error}; plug the scale in again") from error
        if not last:
            raise DriverError(f"{self._where}: {why}; a weight of 0 or more in g or kg is wanted")
        return _unsteady(last)

    @property
    def _where(self) -> str:
        return f"{self.name}: {self._options.port}"

    def _weighing(self, line: bytes, t_ns: int) -> Weighing:
        shows = reading(line, decimal_mark=self._options.decimal_mark)
        step_g = self._options.step_g or shows.step_g
        return Weighing(t_ns, shows.mass_g, step_g / math.sqrt(12), is_steady=False)

    def self_test(self) -> list[Finding]:
        """Whether it prints weights; takes a second or two."""
        try:
            shows = self.weigh(LOOK_S)
        except DriverError as error:
            return [Finding(f"scale {self.name}", "wrong", str(error), "see the scale's instructions for its printout")]
        words = f"it shows {shows.mass_g:g} g (standard uncertainty {shows.u_mass_g:.2g} g)"
        if shows.is_steady:
            return [Finding(f"scale {self.name}", "well", words)]
        return [Finding(f"scale {self.name}", "doubtful", f"{words}, not steady", "keep wind and hands off it")]


def is_steady(last: deque[Weighing]) -> bool:
    """The last lines agree within one step, for long enough."""
    if len(last) < AGREE_COUNT:
        return False
    step_g = last[-1].u_mass_g * math.sqrt(12)
    low_g = high_g = last[-1].mass_g
    for agreed_count, one in enumerate(reversed(last), 1):
        low_g, high_g = min(low_g, one.mass_g), max(high_g, one.mass_g)
        if high_g - low_g > 1.001 * step_g:  # of decimals, which a float does not hold exactly
            return False
        if agreed_count >= AGREE_COUNT and last[-1].t_ns - one.t_ns >= AGREE_NS:
            return True
    return False


def _unsteady(last: deque[Weighing]) -> Weighing:
    recent = [one.mass_g for one in last][-AGREE_COUNT:]
    scatter_g = statistics.stdev(recent) if len(recent) > 1 else 0.0
    return Weighing(last[-1].t_ns, last[-1].mass_g, math.hypot(last[-1].u_mass_g, scatter_g), is_steady=False)
