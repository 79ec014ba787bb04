"""What suits which age: units, decimals, words, and how much is said of doubt.

Three bands of grades. The youngest read whole centimetres and tenths of a second and the word "about"; the oldest
metres, ± and where it comes from. A speed that is shown is the quotient of the shown distance and the shown time, so
that who divides by hand gets the same digits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, TypeAlias

from logger.study.tongue import _

BandName: TypeAlias = Literal["2-3", "4-5", "6-8"]
What: TypeAlias = Literal["time", "length", "speed"]


@dataclass(frozen=True, slots=True)
class Scale:
    """How one kind of quantity is shown."""

    per: float
    """Shown units in one inner unit (s, mm, mm/s): a plain factor."""
    decimals: int
    """Decimals that are shown."""
    sign: str
    """Behind a number in a table."""
    words: str
    """Spoken whole."""


@dataclass(frozen=True, slots=True)
class Band:
    """What one age is shown."""

    name: BandName
    time: Scale
    length: Scale
    speed: Scale
    says_doubt: Literal["about", "could be off", "plus minus"]

    def scale(self, what: What) -> Scale:
        """How that quantity is shown."""
        scales: Mapping[What, Scale] = {"time": self.time, "length": self.length, "speed": self.speed}
        return scales[what]

    def number(self, value: float, what: What) -> Decimal:
        """`value` (s, mm or mm/s) as the number that is shown."""
        scale = self.scale(what)
        return rounded(value * scale.per, scale.decimals)

    def text(self, value: float, what: What) -> str:
        """For example "98.4 cm"."""
        return f"{plain(self.number(value, what))}\u00a0{self.scale(what).sign}"


def band(name: str) -> Band:
    """The band of that name.

    Raises:
        KeyError: there is none.
    """
    return {one.name: one for one in bands()}[name]  # type: ignore[index]


def bands() -> tuple[Band, ...]:
    """All of them in the language in use, the youngest first."""
    seconds = _("seconds")
    return (
        Band(
            "2-3",
            Scale(1.0, 1, "s", seconds),
            Scale(0.1, 0, "cm", _("centimetres")),
            Scale(0.1, 0, _("cm each second"), _("centimetres each second")),
            "about",
        ),
        Band(
            "4-5",
            Scale(1.0, 2, "s", seconds),
            Scale(0.1, 1, "cm", _("centimetres")),
            Scale(0.1, 1, "cm/s", _("centimetres per second")),
            "could be off",
        ),
        Band(
            "6-8",
            Scale(1.0, 3, "s", seconds),
            Scale(0.001, 4, "m", _("metres")),
            Scale(0.001, 4, "m/s", _("metres per second")),
            "plus minus",
        ),
    )


@dataclass(frozen=True, slots=True)
class Division:
    """A distance divided by a time, both as they are shown."""

    distance: Decimal
    """In the band's unit of length."""
    time: Decimal
    """In the band's unit of time."""
    speed: Decimal
    """The quotient of the two, rounded to the band's decimals of speed; in its unit of speed."""

    def told(self, shown: Band) -> str:
        """For example "98.4 cm ÷ 3.57 s = 27.6 cm/s"."""
        return (
            f"{plain(self.distance)} {shown.length.sign} ÷ {plain(self.time)} {shown.time.sign} = "
            f"{plain(self.speed)} {shown.speed.sign}"
        )


def divide(distance_mm: float, time_s: float, shown: Band) -> Division | None:
    """The speed that a pupil gets from the shown numbers; None if the shown time is nought."""
    distance, time = shown.number(distance_mm, "length"), shown.number(time_s, "time")
    if not time:
        return None
    return Division(distance, time, rounded(distance / time, shown.speed.decimals))


def rounded(value: float | Decimal, decimals: int) -> Decimal:
    """As pupils round: a five goes up. A float counts as what it prints as."""
    exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def plain(number: Decimal) -> str:
    """A number as text with a real minus sign and all its decimals; nought has no sign."""
    return f"{abs(number):f}" if not number else f"{number:f}".replace("-", "−")
