"""A boat's card as a file of its own: the [boat] of a recording.toml, which `boatrun record --card` takes as it is.

Numbers come from readings (calibration/readings.py). Where a person does not say how far off a reading may be, it is
what the ruler's or the scale's steps leave open, and for hulls made by hand a little more:

* length and width are read at both ends, and ragged ends are found to within ± 1 mm;
* heights above the water are read once, at a water's edge that climbs the hull, to within ± 2 mm;
* a mass is read once.

The two ± are common practice, no source; all are taken as rectangular (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit

from calibration.readings import (
    RULER_STEP_MM,
    SCALE_STEP_G,
    Reading,
    read_length,
    read_mass,
    u_from_end_to_end,
    u_of_step,
)
from logger import settings
from logger.config import Boat, Tag
from logger.errors import ConfigError, StoreError
from logger.recording.card_toml import RECORDING_FORMAT, card_from_table
from logger.recording.rig_change import keep_dated

RAGGED_MM, WATERS_EDGE_MM = 1.0, 2.0
LENGTHS, HEIGHTS = ("length_mm", "width_mm"), ("freeboard_mm", "mast_height_mm", "tag.height_mm")
OF_THE_TAG = ("tag.height_mm", "tag.size_mm", "tag.bow_ahead_mm")
_WITHOUT_DOUBT = ("mast_height_mm",)
_WATER_MM3_PER_G = 1000.0
_UNCHANGED = {"id": "card", "kind": "straight", "recorded_at": "2026-01-01T00:00:00+00:00"}


@dataclass(frozen=True, slots=True)
class Steps:
    """The smallest steps of what is measured with."""

    ruler_mm: float = RULER_STEP_MM
    scale_g: float = SCALE_STEP_G


def number_of(name: str, text: str, steps: Steps) -> dict[str, float]:
    """What a typed reading of the field `name` is in mm or g, with its `u_`. ValueError if it is no such reading."""
    reading = read_mass(text) if name == "mass_g" else read_length(text)
    if reading.value < 0 or (reading.value == 0 and name not in HEIGHTS):
        raise ValueError(f"found {text.strip()!r}; wanted a number above 0")
    found = {name: round(reading.value, 3)}
    if name not in _WITHOUT_DOUBT:
        head, _, last = name.rpartition(".")
        found[f"{head}{'.' if head else ''}u_{last}"] = float(f"{u_of(name, reading, steps):.2g}")
    return found


def u_of(name: str, reading: Reading, steps: Steps) -> float:
    """Standard uncertainty of a reading of the field `name`, mm or g."""
    if reading.within is not None:
        return reading.within / math.sqrt(3)
    if name == "mass_g":
        return u_of_step(max(steps.scale_g, reading.step or 0.0))
    step = max(steps.ruler_mm, reading.step or 0.0)
    if name in HEIGHTS:
        return math.hypot(u_of_step(step), WATERS_EDGE_MM / math.sqrt(3))
    if name in LENGTHS:
        return math.hypot(u_from_end_to_end(step), RAGGED_MM / math.sqrt(3))
    return u_from_end_to_end(step)


def with_numbers(boat: Boat, numbers: Mapping[str, float]) -> Boat:
    """The card with these fields set; those of the tag only if it has one."""
    own = {name: value for name, value in numbers.items() if not name.startswith("tag.")}
    tag = {name.removeprefix("tag."): value for name, value in numbers.items() if name.startswith("tag.")}
    if tag and boat.tag is None:
        raise ValueError("found a size of a tag, but the card has no tag; say which: its kind and number")
    return replace(boat, **own, tag=boat.tag if boat.tag is None else replace(boat.tag, **tag))  # type: ignore[arg-type]


def oddities(boat: Boat) -> list[str]:
    """What is hardly possible, each with what was probably meant; empty if the card is plausible.

    Boats of a class are 60 to 600 mm long and of 1 g to 2 kg (common practice, no source); what floats displaces its
    own mass of water (Archimedes), so mass over length times width is a draught.
    """
    found = []
    for name, least, most in (("length_mm", 60.0, 600.0), ("width_mm", 15.0, 400.0)):
        value = getattr(boat, name)
        if value is not None and not least <= value <= most:
            found.append(f"{name}: found {value:g} mm{_meant(value, least, most)}; boats have {least:g} to {most:g} mm")
    if boat.freeboard_mm is not None and boat.freeboard_mm > 60:
        found.append(f"freeboard_mm: found {boat.freeboard_mm:g} mm; it is measured from the water to the deck, not to "
                     "the mast's top; more than 60 mm is hardly ever so")  # fmt: skip
    if boat.mass_g is not None and not 1 <= boat.mass_g <= 2000:
        meant = " (were kg typed for g?)" if boat.mass_g < 1 else " (were mg typed for g?)"
        found.append(f"mass_g: found {boat.mass_g:g} g{meant}; boats weigh 1 to 2000 g")
    if boat.length_mm is not None and boat.width_mm is not None and boat.width_mm > boat.length_mm:
        found.append(f"width_mm: found {boat.width_mm:g} mm, more than the length of {boat.length_mm:g} mm; exchanged?")
    return found + _draught(boat) + _of_tag(boat)


def _meant(value: float, least: float, most: float) -> str:
    for unit, factor in (("cm", 10.0), ("inches", 25.4)):
        if value < least and least <= value * factor <= most:
            return f" (were {unit} typed for mm?)"
    return ""


def _draught(boat: Boat) -> list[str]:
    if boat.mass_g is None or boat.length_mm is None or boat.width_mm is None:
        return []
    draught_mm = boat.mass_g * _WATER_MM3_PER_G / (boat.length_mm * boat.width_mm)
    if 0.1 <= draught_mm <= 60:
        return []
    deep = "deeper than any such tank" if draught_mm > 60 else "less than a sheet of foil"
    size = f"{boat.length_mm:g} x {boat.width_mm:g} mm"
    drawn = f"would draw at least {draught_mm:.2g} mm of water, {deep}"
    return [f"mass_g: {boat.mass_g:g} g on {size} {drawn}; is a unit wrong?"]


def _of_tag(boat: Boat) -> list[str]:
    tag = boat.tag
    if tag is None:
        return []
    found = []
    if not 8 <= tag.size_mm <= 150:
        found.append(f"tag.size_mm: found {tag.size_mm:g} mm{_meant(tag.size_mm, 8, 150)}; prints have 8 to 150 mm")
    if tag.height_mm is not None and boat.freeboard_mm is not None and tag.height_mm < boat.freeboard_mm - 5:
        below = f"found {tag.height_mm:g} mm above the water, below the deck at {boat.freeboard_mm:g} mm"
        found.append(f"tag.height_mm: {below}; it counts from the water, not from the deck")
    if tag.height_mm is not None and tag.height_mm > 150:
        found.append(f"tag.height_mm: found {tag.height_mm:g} mm; a print so high swings; put it on deck")
    if tag.bow_ahead_mm is not None and boat.length_mm is not None and tag.bow_ahead_mm > boat.length_mm:
        found.append(f"tag.bow_ahead_mm: found {tag.bow_ahead_mm:g} mm, more than the length of {boat.length_mm:g} mm")
    return found


def read_boat(path: Path) -> Boat:
    """The boat of the card at `path`. InputError or ConfigError with all that is wrong."""
    return card_from_table(_UNCHANGED | settings.load_table(path), file=str(path)).boat


def write_boat(path: Path, boat: Boat, *, at: datetime) -> Path | None:
    """Write the card; what stood there before is kept beside it under the date `at`, and anything else in it stays.

    Its folder is made if only that one is missing.

    Returns:
        Where the older card is kept; None if there was none or nothing changes.

    Raises:
        ConfigError: it would say something wrong; nothing was written.
        StoreError: it could not be written; the older card still stands.
    """
    table: dict[str, Any] = settings.to_table(boat)
    older = None
    if path.exists():
        settings.load_table(path)
        before = path.read_bytes()
        document = tomlkit.parse(before.decode("utf-8-sig").replace("\r\n", "\n"))
        _refresh(document["boat"], table)
    else:
        before = b""
        document = tomlkit.document()
        document["format"], document["boat"] = RECORDING_FORMAT, table
    text = tomlkit.dumps(document)
    card_from_table(_UNCHANGED | tomlkit.parse(text).unwrap(), file=str(path))
    if before == text.encode():
        return None
    try:
        path.parent.mkdir(exist_ok=True)  # the first card may make its folder, but not a whole way of mistyped ones
        older = keep_dated(path, before, at=at) if before else None
        settings.write_whole(path, text)
    except OSError as error:
        raise StoreError(f"{path}: could not be written ({error.strerror}); choose another place") from error
    return older


def _refresh(document: Any, table: Mapping[str, Any]) -> None:
    for key in [key for key in document if key not in table]:
        del document[key]
    for key, value in table.items():
        if isinstance(value, Mapping) and key in document:
            _refresh(document[key], value)
        elif key not in document or document[key] != value:
            document[key] = value


def tag_of(kind: str | None, number: int | None, old: Tag | None) -> Tag | None:
    """The tag as asked for. ConfigError if a square has no number or a disc has one."""
    if kind == "none":
        return None
    if kind is None and number is None:
        return old
    kind = kind or "square"
    if (kind == "square") == (number is None):
        wanted = "its number, as printed below it" if number is None else "no number"
        raise ConfigError("boat card", [f"tag: a {kind} needs {wanted}"])
    made = old or Tag("square")
    return replace(made, kind="square" if kind == "square" else "disc", number=number)
