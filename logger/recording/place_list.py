"""Lines, beams and zones as a person gives them: a plain table, or a few words; both come to the same.

As words: kind, name, then its points, and what else there is to say:

    start "the start" 0,-250 0,250          typed, mm
    mark mark @212,88/floor @215,640/floor  pointed at in the picture: column,row; a tape on the floor under the water
    finish finish #4/45 #5/45               rim marks found in the picture, 45 mm above the water
    finish finish x=1200                    straight across the tank
    beam "start gate" @210,80/30 @214,652/30 line=start
    port harbour 600,100 800,100 800,240 600,240
    ring "red ring" 700,0 r=60
"""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, TypeAlias, cast, get_args

from logger.config import Name
from logger.errors import InputError
from logger.recording.tables import Columns, Row, rows
from logger.settings import Text

PlaceKind: TypeAlias = Literal["start", "mark", "finish", "beam", "port", "obstacle", "ring"]
KINDS: tuple[PlaceKind, ...] = get_args(PlaceKind)
LINES: tuple[PlaceKind, ...] = ("start", "mark", "finish")
PLACE_COLUMNS = Columns(
    ("name", "kind"),
    ("x_mm", "y_mm", "column_px", "row_px", "mark", "height_mm", "radius_mm", "line", "u_mm"),
    most_lines=500,
)
FLOOR = "floor"
_FARTHEST = 50_000.0
_NAME = cast(Text, Name.__metadata__[0])  # type: ignore[attr-defined]
_PAIR = re.compile(r"(?P<at>@?)(?P<a>[-−+]?\d*\.?\d+),(?P<b>[-−+]?\d*\.?\d+)(?:/(?P<height>\S+))?")
_MARK = re.compile(r"#(?P<number>\d{1,4})(?:/(?P<height>\S+))?")


@dataclass(frozen=True, slots=True)
class GivenPoint:
    """One point; one of typed, pointed at, a rim mark, straight across."""

    at_mm: tuple[float, float] | None = None
    pixel: tuple[float, float] | None = None
    """Column and row."""
    mark: int | None = None
    """Number of a rim mark."""
    across_mm: float | None = None
    """A whole line, straight across the tank at this x."""
    height_mm: float | None = None
    """Of what is pointed at, above the water; None: it lies at the water."""
    on_floor: bool = False
    """It lies on the floor, under the water."""
    u_mm: float | None = None
    """Standard uncertainty of each coordinate; None: as for all."""


@dataclass(frozen=True, slots=True)
class GivenPlace:
    """One line, beam or zone."""

    kind: PlaceKind
    name: str
    points: tuple[GivenPoint, ...]
    radius_mm: float | None = None
    line: str | None = None
    """Of a beam: name of the line that it times; None: the nearest."""


def place_of_words(text: str) -> GivenPlace:
    """One place from words, as above. ValueError with what is wrong."""
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise ValueError(f"found {text!r}; its quotes do not match") from error
    if len(words) < 3:
        raise ValueError(f"found {text!r}; wanted kind, name and points, such as: start start 0,-250 0,250")
    kind, name, *rest = words
    place = GivenPlace(_kind(kind), _named(name), ())
    for word in rest:
        place = _with_word(place, word)
    return place


def _with_word(place: GivenPlace, word: str) -> GivenPlace:
    if word.startswith("r="):
        return replace(place, radius_mm=_positive(word[2:], word))
    if word.startswith("line="):
        return replace(place, line=_named(word[5:]))
    if word.startswith("x="):
        return replace(place, points=(*place.points, GivenPoint(across_mm=_number(word[2:], word))))
    return replace(place, points=(*place.points, _point(word)))


def _point(word: str) -> GivenPoint:
    if (found := _MARK.fullmatch(word)) is not None:
        return _raised(GivenPoint(mark=int(found["number"])), found["height"], word)
    found = _PAIR.fullmatch(word)
    if found is None:
        raise ValueError(
            f"found {word!r}; wanted a point: x,y in mm, @column,row in the picture, or #number of a rim mark; with "
            "/floor or /height in mm where it does not lie at the water"
        )
    pair = (_number(found["a"], word), _number(found["b"], word))
    if found["at"]:
        return _raised(GivenPoint(pixel=pair), found["height"], word)
    if found["height"] is not None:
        raise ValueError(f"found {word!r}; a typed point needs no height: x and y are the same above and below")
    return GivenPoint(at_mm=pair)


def _raised(point: GivenPoint, height: str | None, word: str) -> GivenPoint:
    if height is None:
        return point
    if height == FLOOR:
        return replace(point, on_floor=True)
    number = _number(height, word)
    if number < 0:
        raise ValueError(f"found {word!r}; what lies under the water lies on the floor: write /floor")
    return replace(point, height_mm=number)


def _kind(word: str) -> PlaceKind:
    for kind in KINDS:
        if word == kind:
            return kind
    raise ValueError(f"found the kind {word!r}; wanted one of {', '.join(KINDS)}")


def _named(word: str) -> str:
    complaint = _NAME.complaint(word)
    if complaint is not None:
        raise ValueError(f"found the name {word!r}; wanted {complaint}")
    return word


def _number(text: str, word: str) -> float:
    try:
        value = float(text.replace("−", "-"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or abs(value) > _FARTHEST:
        raise ValueError(f"found {word!r}; wanted numbers with a decimal point, at most {_FARTHEST:.0f}")
    return value


def _positive(text: str, word: str) -> float:
    value = _number(text, word)
    if value <= 0:
        raise ValueError(f"found {word!r}; wanted a radius above 0")
    return value


def read_places(path: Path) -> list[GivenPlace]:
    """The places of the table at `path`, one point a line; lines of one name belong together, in their order.

    Raises:
        InputError: at the first line that is wrong.
    """
    found: dict[str, GivenPlace] = {}
    last = ""
    for row in rows(path, PLACE_COLUMNS, _refuse_torn):
        one = _of_row(row)
        known = found.get(one.name)
        if known is not None and (known.kind != one.kind or last != one.name):
            raise row.refusal("name", "a name of its own for each; the points of one thing in lines that follow")
        found[one.name] = one if known is None else replace(known, points=(*known.points, *one.points))
        last = one.name
    if not found:
        raise InputError(f"{path}: found no places; wanted a line for each point, such as start,start,0,-250")
    return list(found.values())


def _refuse_torn(sentence: str) -> None:
    raise InputError(f"{sentence}; end the last line with a line break, so that it is sure to be whole")


def _of_row(row: Row) -> GivenPlace:
    cells: Mapping[str, str] = {name: cell.strip() for name, cell in row.cells.items()}

    def said(name: str) -> str:
        return cells.get(name, "")

    try:
        words = [
            _pair(said("x_mm"), said("y_mm"), ""), _pair(said("column_px"), said("row_px"), "@"),
            f"#{said('mark')}" if said("mark") else "",
        ]  # fmt: skip
        given = [word for word in words if word]
        if len(given) != 1:
            raise ValueError("wanted one of x_mm and y_mm, column_px and row_px, or mark")
        point = _point(given[0] + (f"/{said('height_mm')}" if said("height_mm") else ""))
        u_mm = _number(said("u_mm"), said("u_mm")) if said("u_mm") else None
        if u_mm is not None and u_mm < 0:
            raise ValueError(f"found u_mm {u_mm:g}; wanted 0 or more")
        radius = _positive(said("radius_mm"), said("radius_mm")) if said("radius_mm") else None
        line = _named(said("line")) if said("line") else None
        point = replace(point, u_mm=u_mm)
        return GivenPlace(_kind(said("kind")), _named(said("name")), (point,), radius, line)
    except ValueError as error:
        raise InputError(f"{row.file} line {row.line_number}: {error}") from error


def _pair(first: str, second: str, sign: str) -> str:
    if bool(first) != bool(second):
        raise ValueError("found one of two coordinates; wanted both, or neither")
    return f"{sign}{first},{second}" if first else ""
