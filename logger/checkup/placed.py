"""Given places -> lines, gates and zones of the rig, with their doubt; all that cannot be is told at once.

What is looked for: points outside of the water (x and y exchanged, cm or inches typed for mm), lines along the run,
lines that cross, start and finish exchanged, a beam at another line than the one that it is said to time, corners that
do not go round, names twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.lens import Floats
from calibration.lines import PlaneLine
from calibration.places import (
    Placed,
    Pointed,
    StraightLine,
    area_mm2,
    crosses_itself,
    is_inside,
    lines_meet,
    seen,
    straight_line,
    to_walls,
    typed,
)
from calibration.plane import FOUND_U_PX, POINTED_U_PX
from calibration.waterplane import View
from logger.config import Gate, Line, LineRole, Rig, Zone, ZoneKind
from logger.errors import ConfigError
from logger.recording.place_list import LINES, GivenPlace, GivenPoint
from logger.results.lines import ahead

TYPED_U_MM, MEANT_U_MM, HEIGHT_U_MM = 1.0, 0.5, 2.0
"""How well a typed coordinate is known, how well the middle of a tape stands for a line, and how well a height above
the water is (common practice, no source)."""
_AT_A_LINE_MM = 150.0
_ZONE_LEAST_U_MM = 2.0
_SHORT_SHARE = 0.4
_BENT_MM, _WALL_MM = 5.0, 40.0
_UNITS = {"cm": 10.0, "inches": 25.4}


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What places are worked out with."""

    rig: Rig
    view: View | None = None
    """The calibrated camera; None: only typed points can be placed."""
    marks_px: Mapping[int, Floats] | None = None
    """Rim marks found in the picture, by number (2,); None: there is no picture."""
    u_typed_mm: float = TYPED_U_MM
    u_px: float = POINTED_U_PX


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """One point that was pointed at, for the picture."""

    name: str
    pixel: tuple[float, float]
    """Column and row."""
    place_mm: tuple[float, float]
    height_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Placements:
    """What came of the given places."""

    lines: tuple[Line, ...] = ()
    gates: tuple[Gate, ...] = ()
    zones: tuple[Zone, ...] = ()
    beams: Mapping[str, StraightLine] | None = None
    """Gate -> its beam from wall to wall."""
    parts_mm: Mapping[str, Mapping[str, float]] | None = None
    """Line or beam -> its sources of doubt, mm."""
    spots: tuple[Spot, ...] = ()
    notes: tuple[str, ...] = ()

    def entered(self, rig: Rig) -> Rig:
        """The rig with these places in it."""
        return replace(
            rig, lines=_merged(rig.lines, self.lines), gates=_merged(rig.gates, self.gates),
            zones=_merged(rig.zones, self.zones),
        )  # fmt: skip


def _merged(old: Sequence, new: Sequence) -> tuple:  # type: ignore[type-arg]
    by_name = {one.name: one for one in new}
    kept = [by_name.pop(one.name, one) for one in old]
    return (*kept, *by_name.values())


def placed(given: Sequence[GivenPlace], known: Known, *, place: str) -> Placements:
    """Work the places out.

    Raises:
        ConfigError: with all that is wrong, each with the name of the place; `place` says where it was given.
    """
    work = _Work(known)
    names = [(one.kind if one.kind == "beam" else "", one.name) for one in given]
    for number, pair in enumerate(names):
        if pair in names[:number]:
            work.mistakes.append(f'"{pair[1]}": found this name twice; wanted a name of its own for each')
    for one in given:
        if one.kind in LINES:
            work.line(one)
    if not work.mistakes:
        work.check_lines()
        for one in given:
            if one.kind == "beam":
                work.beam(one)
            elif one.kind not in LINES:
                work.zone(one)
    if work.mistakes:
        raise ConfigError(place, work.mistakes)
    return work.done()


class _Work:
    """Places as they are worked out, and what was found wrong with them."""

    def __init__(self, known: Known) -> None:
        self.known, self.outline = known, known.rig.tank.outline_mm
        self.mistakes: list[str] = []
        self.notes: list[str] = []
        self.lines: dict[str, Line] = {}
        self.straight: dict[str, StraightLine] = {}
        self.beams: dict[str, StraightLine] = {}
        self.gates: list[Gate] = []
        self.zones: list[Zone] = []
        self.spots: list[Spot] = []

    def done(self) -> Placements:
        parts = {name: one.parts_mm for name, one in (self.straight | self.beams).items()}
        return Placements(
            tuple(self.lines.values()), tuple(self.gates), tuple(self.zones), self.beams, parts, tuple(self.spots),
            tuple(self.notes),
        )  # fmt: skip

    def say(self, name: str, what: str) -> None:
        self.mistakes.append(f'"{name}": {what}')

    def point(self, name: str, given: GivenPoint) -> Placed | None:
        """The point on the water; None and a mistake where it cannot be told."""
        if given.at_mm is not None:
            return typed(given.at_mm, u_mm=self.known.u_typed_mm if given.u_mm is None else given.u_mm)
        view, pixel, u_px = self.known.view, given.pixel, self.known.u_px
        if given.mark is not None:
            if self.known.marks_px is None or given.mark not in self.known.marks_px:
                self.say(name, f"mark {given.mark} is not to be seen; give a picture in which nothing covers it")
                return None
            if given.height_mm is None and not given.on_floor:
                self.say(
                    name, f"how high above the water is mark {given.mark}? Write its height, as in #{given.mark}/45"
                )
                return None
            pixel, u_px = (
                (float(self.known.marks_px[given.mark][0]), float(self.known.marks_px[given.mark][1])),
                FOUND_U_PX,
            )
        if view is None or pixel is None:
            self.say(name, "was pointed at in a picture, but there is no calibrated camera; calibrate the plane first")
            return None
        return self._seen(name, given, view, pixel, u_px)

    def _seen(self, name: str, given: GivenPoint, view: View, pixel: tuple[float, float], u_px: float) -> Placed | None:
        tank = self.known.rig.tank
        height, u_height, what = given.height_mm or 0.0, HEIGHT_U_MM if given.height_mm else 0.0, "height of the marks"
        if given.on_floor:
            height, u_height, what = -tank.water_depth_mm, tank.u_water_depth_mm, "water depth"
        width, tall = view.lens.width_px, view.lens.height_px
        if not (-0.5 <= pixel[0] <= width - 0.5 and -0.5 <= pixel[1] <= tall - 0.5):
            self.say(name, f"pixel {pixel[0]:g},{pixel[1]:g} is outside of the picture of {width} x {tall}")
            return None
        pointed = Pointed(pixel, u_px=u_px, height_mm=height, u_height_mm=u_height, height_name=what)
        try:
            found = seen(pointed, view, u_mm=MEANT_U_MM if given.u_mm is None else given.u_mm)
        except ValueError as error:
            self.say(name, str(error))
            return None
        if given.on_floor and not _is_near(found.place_mm, self.outline):
            x, y = found.place_mm
            self.say(
                name, f"pixel {pixel[0]:g},{pixel[1]:g} would lie on the floor at {x:.0f},{y:.0f}, outside of the tank"
            )
            return None
        self.spots.append(Spot(name, pixel, (float(found.place_mm[0]), float(found.place_mm[1])), height))
        return found

    def points(self, one: GivenPlace) -> list[Placed] | None:
        found = [self.point(one.name, given) for given in one.points]
        return None if None in found else [p for p in found if p is not None]

    def through(self, one: GivenPlace) -> StraightLine | None:
        """The straight line through a place's points, from wall to wall."""
        across = [p.across_mm for p in one.points if p.across_mm is not None]
        if across and len(one.points) > 1:
            self.say(one.name, "found x= and points; wanted one of the two ways")
            return None
        if across:
            points = [typed((across[0], y), u_mm=self.known.u_typed_mm) for y in self._side_walls()]
        else:
            found = self.points(one)
            if found is None:
                return None
            points = found
        try:
            straight = straight_line(points)
        except ValueError as error:
            self.say(one.name, str(error))
            return None
        if straight.bow_mm > _BENT_MM:
            self.notes.append(f"{one.name}: a point of it lies {straight.bow_mm:.0f} mm beside the straight line")
        try:
            whole = to_walls(straight, self.outline)
        except ValueError as error:
            self.say(one.name, f"{error}{_unit_or_order(points, self.outline)}")
            return None
        self._check_length(one, straight, whole, is_typed=all(p.at_mm is not None for p in one.points))
        return whole

    def _side_walls(self) -> tuple[float, float]:
        ys = [y for _, y in self.outline]
        middle, half = (min(ys) + max(ys)) / 2, (max(ys) - min(ys)) / 4
        return middle - half, middle + half

    def _check_length(self, one: GivenPlace, given: StraightLine, whole: StraightLine, *, is_typed: bool) -> None:
        """A typed line of which little lies between the walls was mostly typed in another unit."""
        if not is_typed:
            return
        share = _length(given) / _length(whole)
        for unit, factor in _UNITS.items():
            if abs(share * factor - 1) < 0.12:
                self.say(
                    one.name, f"it is {_length(given):.0f} mm long between walls {_length(whole):.0f} mm apart; were "
                    f"{unit} typed for mm?",
                )  # fmt: skip
                return
        if share < _SHORT_SHARE:
            self.notes.append(
                f"{one.name}: typed over {100 * share:.0f} % of the water's width; better from wall to wall"
            )

    def line(self, one: GivenPlace) -> None:
        role: LineRole = next(r for r in ("start", "mark", "finish") if r == one.kind)
        others = [line for line in self.known.rig.lines if line.role == role and line.name != one.name]
        if others:
            self.say(one.name, f'there is a {role} line already, "{others[0].name}"; give it that name to set it anew')
        straight = self.through(one)
        if straight is None:
            return
        try:
            PlaneLine(one.name, straight.a_mm, straight.b_mm)
        except ValueError:
            self.say(one.name, "it lies along the run (x); wanted a line across it; were its points those of the wall?")
            return
        self.straight[one.name] = straight
        self.lines[one.name] = Line(
            one.name, role, _rounded(straight.a_mm), _rounded(straight.b_mm), float(f"{max(straight.u_mm, 0.1):.2g}")
        )

    def check_lines(self) -> None:
        """Whether all lines, old and new, can be those of one tank."""
        every = _merged(self.known.rig.lines, tuple(self.lines.values()))
        x = {line.role: (line.a_mm[0] + line.b_mm[0]) / 2 for line in reversed(every)}
        names = {line.role: line.name for line in reversed(every)}
        for first, last in (("start", "mark"), ("start", "finish"), ("mark", "finish")):
            if first in x and last in x and x[last] <= x[first]:
                self.say(
                    names[last], f"it lies at x = {x[last]:.0f} mm, before the {first} line at {x[first]:.0f} mm; "
                    "x counts along the run: were the two exchanged?",
                )  # fmt: skip
        for n, a in enumerate(every):
            for b in every[n + 1 :]:
                if a.role != b.role and lines_meet(_as_straight(a), _as_straight(b)):
                    self.say(b.name, f'it crosses the line "{a.name}" in the water; see its points')
        start = next((line for line in every if line.role == "start"), None)
        if start is not None and abs(x["start"]) > 50:
            self.notes.append(f"the start line lies at x = {x['start']:.0f} mm; x = 0 is meant to be there")

    def beam(self, one: GivenPlace) -> None:
        """A gate's beam, and how far past its line it is."""
        rig = replace(self.known.rig, lines=_merged(self.known.rig.lines, tuple(self.lines.values())))
        lines = {line.name: line for line in rig.lines}
        beam = self.through(one)
        if beam is None:
            return
        far = {name: abs(_offset(line, beam, rig)[0]) for name, line in lines.items()}
        said = one.line or next((g.line for g in self.known.rig.gates if g.name == one.name), None)
        if said is not None and said not in lines:
            self.say(one.name, f'it is said to time the line "{said}"; there are {", ".join(lines) or "no lines"}')
            return
        nearest = min(far, key=lambda name: far[name], default=None)
        if nearest is None or far[nearest] > _AT_A_LINE_MM:
            self.say(
                one.name, f"its beam lies at no line (the nearest is {min(far.values(), default=math.inf):.0f} mm off)"
            )
            return
        if said is not None and said != nearest:
            self.say(
                one.name, f'it lies at the line "{nearest}", but is said to time "{said}"; are two gates exchanged?'
            )
            return
        line = lines[nearest]
        offset, turn_rad, half = _offset(line, beam, rig)
        # a beam that is turned against its line is past it by another length at each place across; boats go anywhere
        turned = math.tan(turn_rad) * half / math.sqrt(3)
        u_mm = math.hypot(beam.u_mm, line.u_mm, turned)
        if abs(math.degrees(turn_rad)) > 1.0:
            self.notes.append(
                f"{one.name}: its beam is turned by {math.degrees(turn_rad):.1f}° against the {line.name} line"
            )
        old = next((g for g in self.known.rig.gates if g.name == one.name), Gate(one.name, nearest))
        self.beams[one.name] = beam
        self.gates.append(replace(old, line=nearest, offset_mm=round(offset, 2), u_offset_mm=float(f"{u_mm:.2g}")))

    def zone(self, one: GivenPlace) -> None:
        """A port, an obstacle or a ring."""
        kind: ZoneKind = next(k for k in ("port", "obstacle", "ring") if k == one.kind)
        points = self.points(one)
        if points is None:
            return
        places = [(float(p.place_mm[0]), float(p.place_mm[1])) for p in points]
        outside = [p for p in places if not is_inside(p, self.outline)]
        if outside:
            cure = _unit_or_order(points, self.outline)
            self.say(one.name, f"its point {outside[0][0]:.0f},{outside[0][1]:.0f} is not in the water{cure}")
            return
        u_mm = float(f"{max(*(p.u_mm for p in points), _ZONE_LEAST_U_MM):.2g}")
        if one.radius_mm is not None:
            if len(points) != 1:
                self.say(one.name, f"found a radius and {len(points)} points; wanted its middle alone")
                return
            self.zones.append(Zone(one.name, kind, middle_mm=_rounded(places[0]), radius_mm=one.radius_mm, u_mm=u_mm))
            return
        if len(points) < 3:
            self.say(one.name, f"found {len(points)} of its corners; wanted three or more, or its middle and r=RADIUS")
            return
        if crosses_itself(places) or abs(area_mm2(places)) < 1.0:
            self.say(
                one.name, "its corners do not go round it; give them in order, one after the other along the border"
            )
            return
        corners = places if area_mm2(places) > 0 else places[::-1]
        self.zones.append(Zone(one.name, kind, tuple(_rounded(p) for p in corners), u_mm=u_mm))


def _unit_or_order(points: Sequence[Placed], outline: Sequence[tuple[float, float]]) -> str:
    """A guess at what was mistyped, for points outside of the water."""
    places = [p.place_mm for p in points]
    if all(is_inside((float(p[1]), float(p[0])), outline) for p in places):
        return "; were x and y exchanged? x runs along the run, y to its left"
    middle = np.mean(places, axis=0)
    if is_inside((float(middle[0]) / 1000, float(middle[1]) / 1000), outline) and np.abs(middle).max() > 20_000:
        return "; wanted millimetres in the tank's frame"
    return "; wanted millimetres in the tank's frame: x along the run from the start line, y to its left"


def _is_near(place: Floats, outline: Sequence[tuple[float, float]]) -> bool:
    """In the water or hardly outside of it: walls may slope, and a tape may end in the corner."""
    x, y = float(place[0]), float(place[1])
    ways = ((0.0, 0.0), (1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
    return any(is_inside((x + _WALL_MM * dx, y + _WALL_MM * dy), outline) for dx, dy in ways)


def _length(line: StraightLine) -> float:
    return math.dist(line.a_mm, line.b_mm)


def _as_straight(line: Line) -> StraightLine:
    return StraightLine(line.a_mm, line.b_mm, line.u_mm, {})


def _offset(line: Line, beam: StraightLine, rig: Rig) -> tuple[float, float, float]:
    """How far (mm) the beam is past the line at the line's middle; by what it is turned, rad; half the line, mm."""
    a, b = np.array(line.a_mm), np.array(line.b_mm)
    along = (b - a) / np.linalg.norm(b - a)
    normal = ahead(line, rig).normal
    p, q = np.array(beam.a_mm), np.array(beam.b_mm)
    way = (q - p) / np.linalg.norm(q - p)
    way = way if way @ along > 0 else -way
    middle = (a + b) / 2
    lean = float(np.clip(way @ along, 1e-6, 1.0))
    at = p + way * float((middle - p) @ along) / lean
    return float((at - middle) @ normal), math.acos(lean), float(np.linalg.norm(b - a)) / 2


def _rounded(place: tuple[float, float]) -> tuple[float, float]:
    return round(place[0], 2), round(place[1], 2)
