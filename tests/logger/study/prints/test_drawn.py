from __future__ import annotations

import re
import zlib
from base64 import a85decode
from dataclasses import replace

import numpy as np
import pytest

from logger.config import Tank
from logger.study.class_folder import Class
from logger.study.paper import MM_PER_POINT, PAPERS
from logger.study.prints.drawn import SCALES, map_scale, shown_run
from logger.study.prints.every import class_sheets
from logger.study.track_data import tracks_of
from tests.logger.study.invented_class import RIG

BOX = (20.0, 100.0, 180.0, 110.0)


def lines_of(pdf: bytes) -> list[list[tuple[float, float]]]:
    """Every straight line of the file with its corners in mm, as the file itself has them (ISO 32000-1, 8.5.2)."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.S):
        if not stream.strip().endswith(b"~>"):
            continue  # a font
        content = zlib.decompress(a85decode(b"<~" + stream.strip(), adobe=True))
        for path in re.findall(rb"n ((?:[-\d.]+ [-\d.]+ [ml]\s)+)S", content):
            points = re.findall(rb"([-\d.]+) ([-\d.]+) [ml]", path)
            found.append([(float(x) * MM_PER_POINT, float(y) * MM_PER_POINT) for x, y in points])
    return found


def test_the_map_is_true_to_its_scale_in_the_files_own_units(whole: Class) -> None:
    """The tank is 1600 by 600 mm; at 1 : 10 its wall is 160.0 by 60.0 mm, and from line to line 50.0 mm."""
    lines = lines_of(class_sheets(whole, ["teams"], PAPERS["a4"], team="Team Coot"))
    walls = [points for points in lines if len(points) == 5]
    (wall,) = (w for w in walls if np.ptp([x for x, _y in w]) > 100)
    assert np.ptp([x for x, _y in wall]) == pytest.approx(160.0, abs=0.01)
    assert np.ptp([y for _x, y in wall]) == pytest.approx(60.0, abs=0.01)
    upright = sorted(p[0][0] for p in lines if len(p) == 2 and abs(p[0][0] - p[1][0]) < 0.01
                     and abs(abs(p[0][1] - p[1][1]) - 50.0) < 0.01)  # fmt: skip
    assert np.diff(upright) == pytest.approx([50.0, 50.0], abs=0.01)


def test_a_string_along_the_way_is_as_long_as_the_boat_went(whole: Class) -> None:
    """Heron's boat went 0.5 m to the mark and drifted on; its way in the file, times ten, by the track's own ends."""
    lines = lines_of(class_sheets(whole, ["teams"], PAPERS["a4"], team="Team Coot"))
    ways = [points for points in lines if len(points) > 20]
    tracks = tracks_of(whole)
    one = shown_run(whole, tracks, "Team Coot")
    assert one is not None
    way = tracks.ways[one.id]
    true_mm = float(np.hypot(np.diff(way.x_mm), np.diff(way.y_mm)).sum())
    on_paper = [float(np.hypot(*np.diff(np.array(points), axis=0).T).sum()) for points in ways]
    assert min(abs(10 * length - true_mm) for length in on_paper) < 0.5


@pytest.mark.parametrize(
    ("width", "height", "ratio"), [(1600, 600, 10), (850, 420, 5), (3050, 90, 20), (1500, 1500, 15), (300, 200, 2)]
)
def test_the_largest_round_scale_that_fits(width: float, height: float, ratio: float) -> None:
    """By hand, into 180 by 110 mm."""
    tank = Tank(((0.0, 0.0), (width, 0.0), (width, height), (0.0, height)), 90.0)
    scale = map_scale(replace(RIG, tank=tank), box_mm=BOX)
    assert scale.ratio == ratio
    x, y = scale.at(width, height)
    assert x <= BOX[0] + BOX[2]
    assert y == pytest.approx(BOX[1] + BOX[3])


def test_a_basin_too_large_for_any_round_scale_still_fits() -> None:
    tank = Tank(((0.0, 0.0), (20_000.0, 0.0), (20_000.0, 1000.0), (0.0, 1000.0)), 90.0)
    scale = map_scale(replace(RIG, tank=tank), box_mm=BOX)
    assert scale.ratio == 112 > max(SCALES)


def test_the_run_that_is_drawn_counts(whole: Class) -> None:
    tracks = tracks_of(whole)
    one = shown_run(whole, tracks, "Team Carp")
    assert one is not None
    assert one.counts
    assert one.run.trial.kind == "drift"
