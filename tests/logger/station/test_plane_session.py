"""From painted pictures to a plane, all three ways; and everything that is refused on the way."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calibration.floor import DepthReading
from calibration.length_check import KnownLength
from calibration.plane import PlacedMark
from calibration.tape_grid import TapeGrid
from logger.errors import InputError
from logger.recording.rig_toml import rig_from_table
from logger.recording.stills import Still
from logger.station.plane_session import PlaneResult, PlaneWish, work_out
from tests.calibration import plane_picture
from tests.calibration.plane_picture import GRID, LENS, OUTLINE_MM, Scene

LENS_COVARIANCE = np.diag([0.8, 0.8, 1.0, 1.0, 1.5e-3, 2e-3, 1e-4, 1e-4, 0.0]) ** 2
RIG = rig_from_table(
    {
        "format": "boatrun-rig/1", "name": "invented", "simulated": True,
        "tank": {"length_mm": 1500, "width_mm": 500, "water_depth_mm": 100},
        "lines": [{"name": "start", "role": "start", "x_mm": 100}],
    },
    file="rig.toml",
)  # fmt: skip
RIM = tuple(PlacedMark(str(n), x, y, 45.0) for n, (x, y) in plane_picture.RIM_MARKS.items())


@cache
def still(name: str) -> Still:
    scenes = {
        "rim": Scene(seed=3, slat=True),
        "dry": Scene(seed=1, depth_mm=None),
        "filled": Scene(seed=2),
        **{f"board {n}": Scene(seed=10 + n, board_at=at) for n, at in enumerate(plane_picture.BOARD_AT[:3])},
        "small board": Scene(seed=20, board_at=plane_picture.BOARD_AT[0], board_scale=0.97),
    }
    return Still(name, plane_picture.picture(scenes[name]))


def blank(width_px: int, height_px: int) -> Still:
    return Still("photo", np.zeros((height_px, width_px), np.uint8))


def slat(**changed: object) -> KnownLength:
    a, b = plane_picture.slat_px().tolist()
    return replace(KnownLength((a[0], a[1]), (b[0], b[1]), 1000.0), **changed)  # type: ignore[arg-type]


def wish(**changed: object) -> PlaneWish:
    given: dict[str, object] = {"rig": RIG, "lens": LENS, "lens_covariance": LENS_COVARIANCE, "checks": (slat(),)}
    return PlaneWish(**(given | changed))  # type: ignore[arg-type]


def by_rim(**changed: object) -> PlaneWish:
    return wish(**({"way": "rim", "pictures": (still("rim"),), "marks": RIM} | changed))


def by_floor(**changed: object) -> PlaneWish:
    corners = tuple((u + 2, v - 2) for u, v in plane_picture.corner_px(wet="dry" not in changed).tolist())
    given: dict[str, object] = {
        "way": "floor", "grid": GRID, "grid_corners_px": corners, "readings": (DepthReading(99.0),),
    }  # fmt: skip
    return wish(**(given | changed))


def by_board(*names: str, **changed: object) -> PlaneWish:
    return wish(**({"way": "board", "pictures": tuple(still(name) for name in names), "marks": RIM[::3]} | changed))


def off_mm(result: PlaneResult) -> float:
    """How far off the worst place of the tank is in truth."""
    places = np.array([[x, y] for x in np.linspace(0, 1500, 7) for y in (-250, 0, 250)])
    pixels = plane_picture.EYE.see(np.column_stack([places, np.zeros(len(places))]))
    return float(np.linalg.norm(result.fit.view.to_plane(pixels) - places, axis=1).max())


@pytest.mark.parametrize(
    "given",
    [
        by_rim,
        lambda: by_floor(dry=still("dry"), filled=still("filled")),
        lambda: by_floor(filled=still("filled")),
        lambda: by_board("board 0", "board 1", "board 2"),
    ],
)
def test_every_way_finds_the_plane_out_of_pictures(given) -> None:
    result = work_out(given())
    assert off_mm(result) < result.worth.worst_mm < 7
    assert off_mm(result) < 2.5
    assert all(check.agreement.agrees for check in result.checks)
    assert len(result.worth.x_mm) > 40
    assert all(np.abs(one.found_px - one.fitted_px).max() < 1 for one in result.shown)


def test_the_dry_and_the_filled_tank_say_how_deep_the_water_is() -> None:
    result = work_out(
        by_floor(dry=still("dry"), filled=still("filled"), readings=(DepthReading(103.0),), u_depth_mm=4.0)
    )
    assert result.effect is not None
    assert result.effect.depth_mm == pytest.approx(100, abs=2 * result.effect.u_depth_mm)
    assert result.effect.u_depth_mm < 2.5
    assert [one.picture.name for one in result.shown] == ["dry", "filled"]


def test_without_a_known_length_that_is_a_doubt_and_a_short_one_too() -> None:
    assert any("not set against a known length" in words for words in work_out(by_rim(checks=())).doubts)
    end = plane_picture.EYE.see([[500.0, plane_picture.SLAT_MM[0][1], 0.0]])[0]
    short = slat(b_px=tuple(end.tolist()), length_mm=200.0)
    assert any("the known length is short" in words for words in work_out(by_rim(checks=(short,))).doubts)


def test_a_grid_on_the_floor_taken_for_the_surface_is_refused_with_percent_and_cure() -> None:
    places = GRID.places_mm()
    found = work_out(by_floor(filled=still("filled"))).shown[0].found_px
    marks = tuple(PlacedMark(f"g{n}", *places[n].tolist(), pixel=tuple(found[n].tolist())) for n in range(len(places)))
    with pytest.raises(InputError, match=r"\+5\.\d%: they do not agree; perhaps the marks lie on the floor"):
        work_out(by_rim(pictures=(still("filled"),), marks=marks))


def test_a_board_printed_too_small_is_refused_by_the_marks() -> None:
    with pytest.raises(InputError, match="was it printed at 97 %"):
        work_out(by_board("small board"))


def test_the_camera_that_moved_while_the_tank_was_filled_is_noticed() -> None:
    shifted = Still("filled", np.roll(still("filled").grey, (6, 9), (0, 1)))
    corners = plane_picture.corner_px(wet=False).tolist()
    with pytest.raises(
        InputError,
        match=r"the camera moved by \d+\.\d ± .* between the dry picture and the filled one|did the camera move",
    ):
        work_out(by_floor(dry=still("dry"), filled=shifted, grid_corners_px=tuple(map(tuple, corners))))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (lambda: by_rim(pictures=()), "found no picture"),
        (lambda: by_rim(pictures=(blank(4000, 3000),)), "found 4000 x 3000 pixels; the lens was calibrated for 1280"),
        (lambda: by_rim(pictures=(blank(720, 1280),)), "turned on its side"),
        (lambda: by_rim(pictures=(Still("flip", still("rim").grey[:, ::-1].copy()),)), "the picture is not mirrored"),
        (lambda: by_rim(marks=RIM[:3]), "3 marks; at least 4 are wanted"),
        (lambda: by_rim(marks=tuple(replace(m, y_mm=-m.y_mm) for m in RIM)), "the places are mirrored"),
        (lambda: by_rim(marks=tuple(replace(m, x_mm=m.x_mm + 9000) for m in RIM)), "would not be in the picture at"),
        (lambda: by_rim(level_mm=-60.0), "would be under water; rim marks stand above it"),
        (lambda: by_floor(), "found no picture of the floor"),
        (lambda: by_floor(filled=still("filled"), grid=None), "found neither --marks nor --grid"),
        (lambda: by_floor(filled=still("filled"), readings=()), "no depth was given"),
        (lambda: by_floor(dry=still("dry"), grid=TapeGrid(5, 3, 32.5, 18.0, (10, -18))), "above the camera|believed"),
        (lambda: by_board("rim"), "the floating board was not found .* laid the right way up"),
        (lambda: by_board("board 0", marks=RIM[:1]), "1 marks with a place in the tank; 2 at least"),
        (lambda: by_rim(checks=(slat(b_px=slat().a_px),)), "are not two points on the water; point at both"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused(given, told: str) -> None:
    with pytest.raises(InputError, match=told):
        work_out(given())


def test_the_outline_is_that_of_the_painted_tank() -> None:
    np.testing.assert_array_equal(RIG.tank.outline_mm, OUTLINE_MM)
