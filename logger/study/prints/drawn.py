"""Sheets that are drawn to measure: the team's page with a map at an exact scale, and squared paper for a graph."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.config import Rig
from logger.study import words
from logger.study.axes import axis, decimals, round_step
from logger.study.class_folder import Class, ClassRun
from logger.study.paper import Sheet
from logger.study.prints.flow import TEACHER_PT, Flow
from logger.study.tongue import _
from logger.study.track_data import Reach, Tracks, Way, tracks_of

SCALES = (2, 2.5, 4, 5, 8, 10, 12.5, 15, 20, 25, 30, 40, 50)
"""1 to so many; the largest map that fits is taken."""
_DOT_MM = 0.9


@dataclass(frozen=True, slots=True)
class MapScale:
    """Where a tank lies on a page."""

    ratio: float
    """The tank is so many times larger than the map: a plain number."""
    left_mm: float
    """On the page, of the tank's least x."""
    low_mm: float
    """On the page, of the tank's least y."""
    least_mm: tuple[float, float]
    """Least x and y of the tank."""

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a point of the tank is on the page, mm."""
        return (
            self.left_mm + (x_mm - self.least_mm[0]) / self.ratio,
            self.low_mm + (y_mm - self.least_mm[1]) / self.ratio,
        )


def map_scale(rig: Rig, *, box_mm: tuple[float, float, float, float]) -> MapScale:
    """The largest of `SCALES` at which the tank fits the box (left, lower, width, height); its top is the box's."""
    corners = np.array(rig.tank.outline_mm)
    least, span = corners.min(axis=0), np.ptp(corners, axis=0)
    left, low, width, height = box_mm
    fits = (ratio for ratio in SCALES if span[0] / ratio <= width and span[1] / ratio <= height)
    ratio = next(fits, float(math.ceil(max(span[0] / width, span[1] / height))))
    lower = low + height - float(span[1]) / ratio
    return MapScale(ratio, left, lower, (float(least[0]), float(least[1])))


def team_pages(sheet: Sheet, whole: Class, *, only: str = "") -> None:
    """A page for each team: the map of one of its runs, to be measured with string and ruler; all its results."""
    tracks = tracks_of(whole)
    for team in whole.teams:
        if only in ("", team):
            _team_page(sheet, whole, tracks, team)


def _team_page(sheet: Sheet, whole: Class, tracks: Tracks, team: str) -> None:
    flow = Flow(sheet, whole, team, measured=True)
    shown = shown_run(whole, tracks, team)
    if shown is not None:
        _map(flow, shown, tracks.ways[shown.id], tracks.names[shown.id])
        _exercises(flow)
    rows = []
    for one in whole.of(team=team):
        name = words.main_result(one.run.trial.kind)
        found = one.run.trial.results.get(name)
        status = "" if one.run.trial.status == "valid" else words.status_of(one.run.trial.status)
        kind = words.kind_of_run(one.run.trial.kind)
        rows.append([one.boat, kind, words.name_of(name), words.said(found) if found else "–", status])
    flow.space(4)
    flow.table(
        [_("Boat"), _("Run"), _("What"), _("How much"), ""], rows, shares=(1.3, 1.4, 1, 2.1, 1.3), row_mm=6.0, size_pt=9
    )
    if shown is not None and flow.room_mm > 45:
        reach = tracks.reaches[shown.run.trial.kind]
        _graph(flow, tracks.ways[shown.id], reach, height_mm=min(70.0, flow.room_mm - 6))
    flow.end()


def shown_run(whole: Class, tracks: Tracks, team: str) -> ClassRun | None:
    """The run whose map is drawn: the last one that counts and has a track; a drift run rather than another."""
    runs = [one for one in whole.of(team=team) if one.id in tracks.ways and one.counts]
    drifts = [one for one in runs if one.run.trial.kind == "drift"]
    found = drifts or runs
    return found[-1] if found else None


def _map(flow: Flow, one: ClassRun, way: Way, name: str) -> None:
    sheet, rig = flow.sheet, one.run.rig
    height = min(115.0, flow.room_mm - 110)
    scale = map_scale(rig, box_mm=(flow.left_mm, flow.y_mm - 8 - height, flow.width_mm, height))
    wall = [scale.at(x, y) for x, y in rig.tank.outline_mm]
    sheet.trace([*wall, wall[0]], line_mm=0.8)
    for line in rig.lines:
        a, b = scale.at(*line.a_mm), scale.at(*line.b_mm)
        sheet.trace([a, b], line_mm=0.3, dashed=line.role != "start")
        upper = max(a, b, key=lambda end: end[1])
        sheet.text(line.name, at_mm=(upper[0], max(p[1] for p in wall) + 1.5), size_pt=9, middle=True)
    for zone in rig.zones:
        _zone(sheet, scale, zone.middle_mm, zone.radius_mm, zone.outline_mm, zone.name)
    sheet.trace([scale.at(float(x), float(y)) for x, y in zip(way.x_mm, way.y_mm, strict=True)], line_mm=0.25)
    step = round_step(float(way.t_s[-1] - way.t_s[0]), 24)
    for i in range(math.ceil(way.t_s[0] / step - 1e-9), math.floor(way.t_s[-1] / step + 1e-9) + 1):
        x, y = (float(np.interp(i * step, way.t_s, v)) for v in (way.x_mm, way.y_mm))
        sheet.dot(scale.at(x, y), radius_mm=_DOT_MM, hollow=i < 0)
    flow.y_mm = scale.low_mm - 5
    flow.say(
        _("{name}. Map 1 : {ratio:g}, so 1 cm here is {cm:g} cm in the tank. One dot every {step} s; hollow: "
          "before the start line. The dots are the bow.").format(
            name=name, ratio=scale.ratio, cm=scale.ratio, step=f"{step:.{decimals(step)}f}"),
        size_pt=10,
    )  # fmt: skip


def _zone(
    sheet: Sheet, scale: MapScale, middle: tuple[float, float] | None, radius: float | None,
    outline: Sequence[tuple[float, float]], name: str,
) -> None:  # fmt: skip
    if middle is not None and radius is not None:
        turns = np.linspace(0, 2 * math.pi, 49)
        outline = [(middle[0] + radius * math.cos(t), middle[1] + radius * math.sin(t)) for t in turns]
    corners = [scale.at(*corner) for corner in outline]
    sheet.trace([*corners, corners[0]], line_mm=0.3, dashed=True)
    x, y = np.mean(corners, axis=0).tolist()
    sheet.text(name, at_mm=(x, y - 1), size_pt=8, middle=True)


def _graph(flow: Flow, way: Way, reach: Reach, *, height_mm: float) -> None:
    """How far against time, of the run on the map, with the axes of the whole class."""
    sheet, inside = flow.sheet, (flow.left_mm + 14, flow.y_mm - height_mm + 13, flow.width_mm - 18, height_mm - 22)
    left, low, width, height = inside
    across = axis(*reach.time_s, start_px=left, end_px=left + width, about_count=12, whole_steps=False)
    top, bottom = reach.along_mm[1] / 10, reach.along_mm[0] / 10
    upright = axis(bottom, top, start_px=low, end_px=low + height, about_count=6, whole_steps=False)
    for t in across.ticks():
        sheet.trace([(across.px(t), low), (across.px(t), low + height)], line_mm=0.3 if t == 0 else 0.1)
        sheet.text(across.label(t), at_mm=(across.px(t), low - 4), size_pt=8, middle=True)
    for v in upright.ticks():
        sheet.trace([(left, upright.px(v)), (left + width, upright.px(v))], line_mm=0.3 if v == 0 else 0.1)
        wide = sheet.width_mm(upright.label(v), size_pt=8)
        sheet.text(upright.label(v), at_mm=(left - 2 - wide, upright.px(v) - 1), size_pt=8)
    points = zip(way.t_s, way.along_mm, strict=True)
    sheet.trace([(across.px(float(t)), upright.px(float(v) / 10)) for t, v in points], line_mm=0.6)
    sheet.text(_("how far past the start line (centimetres)"), at_mm=(flow.left_mm, low + height + 2.5), size_pt=9)
    said = _("time (seconds)")
    sheet.text(said, at_mm=(left + width - sheet.width_mm(said, size_pt=9), low - 9), size_pt=9)
    flow.y_mm = low - 10


def _exercises(flow: Flow) -> None:
    for question in (
        _("1. Lay a string along the dots, from line to line. Measure it. Times the scale: ______ cm"),
        _("2. Where were the dots farthest apart? Mark it: there the boat was fastest."),
        _("3. From one dot to the next there: ______ cm in the tank, in ______ s. Speed: ______"),
    ):
        flow.space(1.5)
        flow.say(question, size_pt=TEACHER_PT)


def graph_paper(sheet: Sheet, whole: Class) -> None:
    """Squared paper with axes that fit the class: how far against time, the same for every team."""
    tracks = tracks_of(whole)
    for kind in whole.kinds:
        if not any(one.id in tracks.ways for one in whole.of(kind=kind)):
            continue
        flow = Flow(sheet, whole, _("Graph: how far, against time"), own_name=True, measured=True)
        said = _("{kinds}. Both axes fit every team, so that steeper means faster.").format(
            kinds=words.kinds_of_run(kind)
        )
        flow.say(said, size_pt=TEACHER_PT)
        reach = tracks.reaches[kind]
        _squares(flow, (0.0, reach.time_s[1]), (0.0, reach.along_mm[1] / 10))
        flow.end()


def _squares(flow: Flow, time_s: tuple[float, float], along_cm: tuple[float, float]) -> None:
    """Squares of 5 mm, heavier at every second one; a label at each heavy line."""
    sheet = flow.sheet
    left, low = flow.left_mm + 16, flow.y_mm - flow.room_mm + 18
    columns = 2 * int((flow.width_mm - 20) / 10)
    rows = 2 * int((flow.y_mm - 14 - low) / 10)
    for i in range(columns + 1):
        sheet.trace([(left + 5 * i, low), (left + 5 * i, low + 5 * rows)], line_mm=0.1 if i % 2 else 0.3)
    for i in range(rows + 1):
        sheet.trace([(left, low + 5 * i), (left + 5 * columns, low + 5 * i)], line_mm=0.1 if i % 2 else 0.3)
    across, upright = (
        axis(0, v[1], start_px=0, end_px=1, about_count=n // 2) for v, n in ((time_s, columns), (along_cm, rows))
    )
    for i in range(columns // 2 + 1):
        sheet.text(across.label(i * across.step), at_mm=(left + 10 * i, low - 5), size_pt=9, middle=True)
    for i in range(rows // 2 + 1):
        label = upright.label(i * upright.step)
        wide = sheet.width_mm(label, size_pt=9)
        sheet.text(label, at_mm=(left - 2 - wide, low + 10 * i - 1), size_pt=9)
    sheet.text(_("time (seconds)"), at_mm=(left + 5 * columns - 35, low - 11), size_pt=11)
    sheet.text(_("how far past the start line (centimetres)"), at_mm=(flow.left_mm, low + 5 * rows + 3), size_pt=11)
    flow.y_mm = low - 12
