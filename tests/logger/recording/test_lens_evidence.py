"""What was kept of a lens calibration comes back, is never written over, and is told where it is wrong."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import write_lens
from logger.errors import InputError, StoreError
from logger.recording import lens_evidence as kept
from logger.recording.light_evidence import new_evidence_folder
from tests.calibration.board_views import USUAL, shown
from tests.logger.recording.conftest import FORMATS

AT = datetime.fromisoformat("2026-05-04T10:15:00+02:00")
SECTION = FORMATS.read_text(encoding="utf-8").partition("## Evidence of a lens calibration")[2].partition("\n## ")[0]
VIEWS = shown(USUAL, np.random.default_rng(1), count=3)


def folder_with_corners(tmp_path: Path) -> Path:
    off = [np.full_like(view.pixels, 0.25) for view in VIEWS.values()]
    kept.write_corners(tmp_path, VIEWS, off)
    return tmp_path


def test_corners_come_back(tmp_path: Path) -> None:
    found = kept.read_corners(folder_with_corners(tmp_path))
    assert list(found) == list(VIEWS)
    for name, view in VIEWS.items():
        np.testing.assert_allclose(found[name].pixels, view.pixels, atol=1e-4)
        np.testing.assert_allclose(found[name].points_mm, view.points_mm, atol=1e-4)
        assert (found[name].width_px, found[name].height_px) == (1280, 720)


def test_names_with_quotes_and_commas_come_back(tmp_path: Path) -> None:
    view = next(iter(VIEWS.values()))
    kept.write_corners(tmp_path, {'a "b", c.jpg': view}, [np.zeros_like(view.pixels)])
    assert list(kept.read_corners(tmp_path)) == ['a "b", c.jpg']


def test_every_folder_is_a_new_one(tmp_path: Path) -> None:
    first, second = (new_evidence_folder(tmp_path / "lens", AT, kind="lens") for _ in range(2))
    assert (first.name, second.name) == ("lens-2026-05-04T101500", "lens-2026-05-04T101500-2")
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="no folder can be made there"):
        new_evidence_folder(tmp_path / "file", AT, kind="lens")


def test_pictures_are_kept_without_loss(tmp_path: Path) -> None:
    picture = np.random.default_rng(1).integers(0, 255, (30, 40)).astype(np.uint8)
    kept.write_views(tmp_path, [("picture 12", picture)])
    kept.write_picture(tmp_path, "<svg/>")
    again = cv2.imread(str(tmp_path / "views" / "picture-12.png"), cv2.IMREAD_UNCHANGED)
    np.testing.assert_array_equal(again, picture)
    assert (tmp_path / "coverage.svg").read_text() == "<svg/>"


def test_the_newest_calibration_is_the_last_and_broken_ones_are_passed_over(tmp_path: Path) -> None:
    assert kept.last_lens(tmp_path / "none") is None
    for name in ("lens-2026-05-04T101500", "lens-2026-05-05T080000"):
        (tmp_path / name).mkdir()
        write_lens(tmp_path / name / "lens.toml", USUAL, np.eye(9))
    (tmp_path / "lens-2026-06-01T080000").mkdir()
    (tmp_path / "lens-2026-06-01T080000" / "lens.toml").write_text("broken")
    found = kept.last_lens(tmp_path)
    assert found is not None
    assert found.path.parent.name == "lens-2026-05-05T080000"
    assert found.lens == USUAL
    before = kept.last_lens(tmp_path, but=found.path.parent)
    assert before is not None
    assert before.path.parent.name == "lens-2026-05-04T101500"


def test_a_folder_without_corners_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no corners\.csv; wanted a folder that `boatrun calibrate lens`"):
        kept.read_corners(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("view 1", "view 9", ""),
        (",1280,", ",12.5,", "width_px is"),
        (",0.2500\n", "", "the copy is not whole"),
    ],
)
def test_a_wrong_line_is_told(old: str, new: str, told: str, tmp_path: Path) -> None:
    path = folder_with_corners(tmp_path) / "corners.csv"
    text = path.read_text()
    path.write_text(text[: -len(old)] + new if old.endswith("\n") else text.replace(old, new, 1))
    if not told:
        assert "view 9" in kept.read_corners(tmp_path)
        return
    with pytest.raises(InputError, match=told):
        kept.read_corners(tmp_path)


@pytest.mark.parametrize("number", ["nan", "wide"])
def test_a_corner_that_is_no_number_is_told(number: str, tmp_path: Path) -> None:
    path = folder_with_corners(tmp_path) / "corners.csv"
    head, first, rest = path.read_text().split("\n", 2)
    cells = first.split(",")
    cells[5] = number
    path.write_text("\n".join([head, ",".join(cells), rest]))
    with pytest.raises(InputError, match=r"line 2: u_px is .*; wanted a"):
        kept.read_corners(tmp_path)


def test_a_view_of_two_sizes_is_told(tmp_path: Path) -> None:
    path = folder_with_corners(tmp_path) / "corners.csv"
    path.write_text(path.read_text().replace("1280,720", "640,360", 1))
    with pytest.raises(InputError, match="wanted 640 x 360 as before in that view"):
        kept.read_corners(tmp_path)


def test_every_column_is_described_and_no_other() -> None:
    table = SECTION.partition("### corners.csv")[2]
    named = re.findall(
        r"`(\w+)`", "\n".join(line.split("|")[1] for line in table.splitlines() if line.startswith("| `"))
    )
    assert named == list(kept.CORNERS_COLUMNS.needed)
