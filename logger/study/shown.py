"""A result said to one age: "about" to the youngest, "could be off by" to the middle, ± to the oldest."""

from __future__ import annotations

import math

from logger.results.trial import Result
from logger.study import words
from logger.study.bands import Band, What, plain
from logger.study.tongue import _

_INNER: dict[str, tuple[What, float]] = {
    "s": ("time", 1.0), "mm": ("length", 1.0), "m": ("length", 1000.0),
    "m/s": ("speed", 1000.0), "mm/s": ("speed", 1.0),
}  # fmt: skip
"""UCUM unit -> which of the band's scales shows it, and the factor to s, mm or mm/s."""


def for_band(result: Result, shown: Band, *, with_doubt: bool = True) -> str:
    """A result in words that fit the age; a unit that no band shows is said as it is.

    `with_doubt`: the middle band is told by how much it could be off; in a list of many that would be too much.
    """
    quantity = result.quantity
    if quantity.unit not in _INNER or shown.says_doubt == "plus minus":
        return words.said(result) if shown.says_doubt == "plus minus" else words.value_only(result)
    what, factor = _INNER[quantity.unit]
    scale = shown.scale(what)
    value = plain(shown.number(quantity.value * factor, what))
    floor = _("at least {value}") if result.at_least else "{value}"
    if shown.says_doubt == "about":
        text = f"{value} {scale.words}"
        return floor.format(value=text) if result.at_least else _("about {value}").format(value=text)
    text = floor.format(value=f"{value}\u00a0{scale.sign}")
    if not (quantity.u > 0 and with_doubt):
        return text
    return _("{value} (could be off by about {doubt})").format(
        value=text, doubt=f"{doubt_of(quantity.U * factor * scale.per, scale.decimals)}\u00a0{scale.sign}"
    )


def doubt_of(shown: float, decimals: int) -> str:
    """A doubt to one digit, rounded up, and never less than the last place that is shown."""
    least = 10.0**-decimals
    if shown <= least:
        return f"{least:.{decimals}f}"
    place = 10.0 ** math.floor(math.log10(shown))
    up = math.ceil(shown / place - 1e-9) * place
    return f"{up:.{decimals}f}"
