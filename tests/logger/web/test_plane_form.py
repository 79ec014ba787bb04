"""The page's fields become the same wish as the command's options; all mistakes at once."""

from __future__ import annotations

import cv2
import pytest

from calibration.files import write_lens
from logger.errors import ConfigError, InputError
from logger.web.plane_form import CORNERS, FIELDS, WAYS, lens_file_of, pictures_of, wish_of
from logger.web.site import Site
from tests.calibration import plane_picture
from tests.calibration.plane_picture import LENS
from tests.logger.station.test_plane_session import LENS_COVARIANCE, still
from tests.logger.web.conftest import site_of

FLOOR = {"way": "floor", "columns": "5", "rows": "3", "step_x": "325", "step_y": "180", "first_x": "100",
         "first_y": "−180", "depth": "98; 104@1500,150",
         **{name: f"{u:.1f}, {v:.1f}"
            for name, (u, v) in zip(CORNERS, plane_picture.corner_px(wet=False), strict=True)}}  # fmt: skip
RIM = {"way": "rim", "marks": "\n".join(f"{n},{x:g},{y:g},45" for n, (x, y) in plane_picture.RIM_MARKS.items())}


@pytest.fixture
def site(rig_file) -> Site:
    folder = rig_file.parent / "lens" / "lens-2026-05-04T101500"
    folder.mkdir(parents=True)
    write_lens(folder / "lens.toml", LENS, LENS_COVARIANCE)
    made = site_of(rig_file)
    for name in ("dry", "filled", "rim"):
        made.drafts.put("planepictures", f"{name}.png", cv2.imencode(".png", still(name).grey)[1].tobytes())
    made.drafts.put("planepictures", "board-1.png", cv2.imencode(".png", still("board 0").grey)[1].tobytes())
    return made


def test_a_grid_on_the_floor(site: Site) -> None:
    wish = wish_of(site, FLOOR | {"check_mm": "1000±2", "end_1": "339.3,297.6", "end_2": "963.8,316.8"})
    assert wish.grid == plane_picture.GRID
    assert [(one.depth_mm, one.at_mm) for one in wish.readings] == [(98.0, None), (104.0, (1500.0, 150.0))]
    assert wish.dry is not None
    assert wish.filled is not None
    (check,) = wish.checks
    assert (check.a_px, check.length_mm) == ((339.3, 297.6), 1000.0)
    assert wish.lens.fx_px == pytest.approx(LENS.fx_px)
    assert lens_file_of(site) is not None


def test_marks_on_the_rim_and_the_floating_board(site: Site) -> None:
    assert [mark.name for mark in wish_of(site, RIM).marks] == ["0", "1", "2", "3", "4", "5"]
    headed = RIM | {"marks": "mark, x_mm, y_mm, height_mm\n0,20,-285,45"}
    assert [mark.height_mm for mark in wish_of(site, headed).marks] == [45.0]
    board = wish_of(site, RIM | {"way": "board", "square": "33", "board_height": "5"})
    assert (board.board.square_mm, board.afloat.height_mm, len(board.pictures)) == (33.0, 5.0, 1)


def test_all_that_is_missing_is_told_at_once(site: Site) -> None:
    with pytest.raises(ConfigError, match=r"along the run.*depth of the water: found none.*corner 1.*corner 4"):
        wish_of(site, {"way": "floor"})
    with pytest.raises(ConfigError, match="places of the marks: found none"):
        wish_of(site, {"way": "rim"})
    with pytest.raises(ConfigError, match="places of the marks line 2"):
        wish_of(site, {"way": "rim", "marks": "0,20"})
    with pytest.raises(ConfigError, match="both its ends are pointed at; how long is it"):
        wish_of(site, FLOOR | {"end_1": "1,2", "end_2": "3,4"})
    with pytest.raises(ConfigError, match="end 1 of the known length: click it"):
        wish_of(site, FLOOR | {"check_mm": "1000"})
    with pytest.raises(ConfigError, match="wanted about"):
        wish_of(site, RIM | {"way": "board", "square": "3.3"})
    with pytest.raises(InputError, match="choose one of the three ways first"):
        wish_of(site, {})


def test_the_depth_is_never_taken_from_the_rig_file(site: Site) -> None:
    with pytest.raises(ConfigError, match="depth of the water: found none; put a ruler upright into the water"):
        wish_of(site, FLOOR | {"depth": ""})


def test_without_pictures_or_a_lens_that_is_told(site: Site) -> None:
    site.drafts.clear("planepictures")
    with pytest.raises(ConfigError, match="pictures: there is none yet"):
        wish_of(site, FLOOR)
    (site.folder / "lens" / "lens-2026-05-04T101500" / "lens.toml").unlink()
    with pytest.raises(InputError, match="wanted the lens's file"):
        wish_of(site, FLOOR)


def test_every_way_says_which_pictures_it_wants() -> None:
    assert [pictures_of(way) for way in WAYS] == [("dry", "filled"), ("rim",), ("board",)]
    assert pictures_of("none") == ()
    assert set(CORNERS) < set(FIELDS)
