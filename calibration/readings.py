"""What a person reads off a ruler, a tape or a scale: text -> millimetres or grams, and how well that is known.

Inches, feet, ounces and pounds are taken and turned into mm and g by their definitions (NIST SP 811, B.8: 1 in =
25.4 mm, 1 oz = 28.349 523 125 g, exactly). A reading that may lie anywhere within ± a has the standard uncertainty a/√3
(JCGM 100:2008, 4.3.7); a scale that shows whole steps is read to ± half a step. A length from end to end is read twice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.plane import TAPE_RATIO
from calibration.quantity import Quantity, Source

LENGTH_UNITS: Mapping[str, float] = {
    "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "ft": 304.8,
}  # fmt: skip
MASS_UNITS: Mapping[str, float] = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237}
RULER_STEP_MM, SCALE_STEP_G = 1.0, 1.0
BEAM_MM = 1.0
"""The middle of a beam is found to within this, either way (common practice, no source)."""
_FAR_APART_MM = 5.0
"""Tapings of one length that differ by more than this: one of them is a mistake."""
_NUMBER = r"(?P<whole>\d+(?:\.\d+)?|\.\d+)(?:[ -](?P<over>\d+)/(?P<under>\d+))?|(?P<over2>\d+)/(?P<under2>\d+)"
_READING = re.compile(
    rf"(?P<sign>[-−+]?)\s*(?:{_NUMBER})\s*(?P<unit>[a-zA-Z\"]*)\s*(?:(?:±|\+-|\+/-)\s*(?P<within>.+))?"
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading, in mm or g."""

    value: float
    """In mm or g, whatever unit it was typed in."""
    within: float | None = None
    """It lies anywhere within ± this, mm or g, if the person said so."""
    step: float | None = None
    """The smallest step that the way of writing shows (sixteenths of an inch), mm or g; None: it shows none."""
    unit: str = ""
    """As typed; empty if none was."""


def read_length(text: str) -> Reading:
    """A length such as `210`, `21 cm`, `8 1/4 in`, `210 ± 2`; mm where no unit stands. ValueError if it is none."""
    return _read(text, LENGTH_UNITS, plain="mm")


def read_mass(text: str) -> Reading:
    """A mass such as `48`, `0.048 kg`, `1.7 oz`; g where no unit stands. ValueError if it is none."""
    return _read(text, MASS_UNITS, plain="g")


def _read(text: str, units: Mapping[str, float], *, plain: str) -> Reading:
    wanted = f"wanted a number with or without a unit ({', '.join(u for u in units if u.isalpha())}), such as 210"
    if re.search(r"\d,\d", text):
        raise ValueError(f"found {text.strip()!r}; write decimals with a point, as in 21.5")
    found = _READING.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"found {text.strip()!r}; {wanted} {plain}")
    unit = found["unit"].lower()
    if unit and unit not in units:
        raise ValueError(f"found the unit {found['unit']!r}; {wanted} {plain}")
    factor = units[unit or plain]
    number, step = _number(found, text)
    within = None
    if found["within"] is not None:
        inner = _read(found["within"], units, plain=unit or plain)
        within = inner.value
        if not within > 0:
            raise ValueError(f"found ± {within:g} in {text.strip()!r}; wanted more than 0 after the ±")
    sign = -1.0 if found["sign"] in ("-", "−") else 1.0
    return Reading(sign * number * factor, within, None if step is None else step * factor, unit)


def _number(found: re.Match[str], text: str) -> tuple[float, float | None]:
    over, under = found["over"] or found["over2"], found["under"] or found["under2"]
    whole = float(found["whole"] or 0)
    if over is None:
        return whole, None
    if int(under) == 0 or int(over) >= int(under):
        raise ValueError(f"found the fraction {over}/{under} in {text.strip()!r}; wanted one below 1, as in 8 1/4 in")
    return whole + int(over) / int(under), 1 / int(under)


def u_of_step(step: float) -> float:
    """Standard uncertainty of one reading to the nearest `step`: ± half of it (JCGM 100:2008, 4.3.7 and F.2.2.1)."""
    return step / math.sqrt(12)


def u_from_end_to_end(step: float) -> float:
    """The same of a difference of two such readings, one at each end (JCGM 100:2008, 5.1.2)."""
    return math.sqrt(2) * u_of_step(step)


def taped_distance(readings: Sequence[Reading]) -> Quantity:
    """The distance from beam to beam, mm, of one taping or several.

    Raises:
        ValueError: none, one that is not above 0, or two that cannot be of one length.
    """
    values = [r.value for r in readings]
    if not values or min(values) <= 0:
        raise ValueError(f"found {values or 'no taping'}; wanted a distance above 0 mm")
    if max(values) - min(values) > _FAR_APART_MM:
        raise ValueError(
            f"found tapings from {min(values):g} to {max(values):g} mm; two of one length differ by a few mm at most: "
            "tape it again"
        )
    count, mean = len(values), math.fsum(values) / len(values)
    reading = math.sqrt(math.fsum(_u_read(r) ** 2 for r in readings)) / count
    if count > 1:  # a spread beyond what reading explains is believed, too
        spread = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (count - 1) / count)
        reading = max(reading, spread)
    parts = {
        Source("reading the tape"): reading,
        Source("tape measure"): TAPE_RATIO * mean,
        Source("middles of the beams"): math.sqrt(2) * BEAM_MM / math.sqrt(3),
    }
    return Quantity(mean, "mm", parts)


def _u_read(reading: Reading) -> float:
    if reading.within is not None:
        return reading.within / math.sqrt(3)
    return u_from_end_to_end(reading.step or RULER_STEP_MM)
