"""What is found is told whole: views, coverage, model, parameters, doubts, and what has changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.files import write_lens
from calibration.lens_compare import turned
from calibration.lens_stretch import stretched
from calibration.targets import LENS_BOARD
from logger.guide import lens_found
from logger.guide.lens_gather import Material
from tests.calibration.board_views import USUAL, placed, seen_at, shown


def material(**how: object) -> Material:
    return Material("a test", shown(USUAL, np.random.default_rng(3), **how))  # type: ignore[arg-type]


def result(gathered: Material) -> lens_found.Found:
    return lens_found.found(gathered, LENS_BOARD, ("a note",), for_size=None, place="here")


@pytest.fixture(scope="module")
def good() -> lens_found.Found:
    return result(material(count=14))


def test_everything_is_told(good: lens_found.Found) -> None:
    said = "\n".join(lens_found.told(good))
    for words in (
        "14 views taken",
        "top left",
        "board tilted, this side away",
        "model: usual lens",
        "  fx  ",
        "note: a note",
    ):
        assert words in said
    fx = next(line for line in said.splitlines() if line.startswith("  fx"))
    assert abs(float(fx.split()[1].split("(")[0]) - USUAL.fx_px) < 5
    assert "k3" not in said.split("lens for pictures")[1]


def test_odd_views_are_left_out_and_told_first(good: lens_found.Found) -> None:
    views = dict(good.views)
    first = views["view 1"]
    views["view 1"] = replace(first, pixels=np.array([1279, 719]) - first.pixels)
    found = result(Material("a test", views, left_out={"blur": "blurred"}))
    assert list(found.left_out) == ["view 1", "blur"]
    assert "it is turned upside down" in lens_found.told(found)[1]


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ({"count": 4}, "4 different pictures with a board; at least 5"),
        ({"most_tilt_rad": 0.02}, "all boards lean the same way"),
        ({"within": 0.02, "away_mm": (330.0, 420.0)}, "boards are in one spot"),
    ],
)
def test_views_that_say_too_little_are_refused_with_what_to_do(how: dict, told: str) -> None:
    gathered = replace(material(**how), left_out={"a.jpg": "blurred", "b.jpg": "blurred"})
    with pytest.raises(CalibrationError, match=told) as caught:
        result(gathered)
    assert "not taken: a.jpg, b.jpg: blurred" in str(caught.value)


def test_a_board_that_was_stretched_in_printing_and_held_both_ways_is_told_and_allowed_for(
    good: lens_found.Found,
) -> None:
    found = result(Material("a test", stretched(good.views, 0.985)))
    (said,) = [note for note in found.notes if "longer along its rows" in note]
    assert float(said.split("is ")[1].split("%")[0]) == pytest.approx(1.52, abs=0.1)
    assert found.lens.fx_px == pytest.approx(good.lens.fx_px, abs=1.0)
    assert found.left_out == {}
    assert not any("longer" in note or "stretched" in note for note in good.notes)


def test_a_stretched_board_that_was_always_held_the_same_way_is_a_doubt() -> None:
    rng = np.random.default_rng(5)
    views = {}
    while len(views) < 12:
        turn = np.append(rng.uniform(-0.6, 0.6, 2), 0.0)
        place = placed(USUAL, turn, rng.uniform([0, 0], [1279, 719]), rng.uniform(220, 450))
        seen = None if place is None else seen_at(USUAL, place, rng.normal(0, 0.15, (42, 2)))
        if seen is not None:
            views[f"view {len(views)}"] = seen
    found = result(Material("a test", stretched(views, 0.98)))
    assert any("was the board stretched in printing?" in note for note in found.notes)


def test_pictures_that_were_turned_since_are_called_so(good: lens_found.Found, tmp_path: Path) -> None:
    folder = tmp_path / "lens-2026-05-04T101500"
    folder.mkdir()
    aside = replace(good, lens=replace(good.lens, cx_px=660.0, cy_px=340.0))
    write_lens(folder / "lens.toml", turned(aside.lens), np.diag([0.5, 0.5, 0.5, 0.5, 1e-3, 1e-3, 1e-4, 1e-4, 0]) ** 2)
    said = lens_found.last(tmp_path, aside, height_mm=1200.0, but=None)
    assert any("if the pictures were turned by half a turn" in line for line in said)
    (folder / "lens.toml").unlink()
    write_lens(folder / "lens.toml", aside.lens, good.covariance)
    assert not any("half a turn" in line for line in lens_found.last(tmp_path, aside, height_mm=1200.0, but=None))


def test_a_lens_that_changed_is_called_so(good: lens_found.Found, tmp_path: Path) -> None:
    folder = tmp_path / "lens-2026-05-04T101500"
    folder.mkdir()
    bent = replace(good.lens, k1=good.lens.k1 + 0.1)
    write_lens(folder / "lens.toml", bent, np.diag([0.5, 0.5, 0.5, 0.5, 1e-3, 1e-3, 0, 0, 0]) ** 2)
    said = lens_found.last(tmp_path, good, height_mm=1200.0, but=None)
    assert said[0].startswith("against the last one (lens-2026-05-04T101500)")
    assert "was the focus, the zoom or the camera changed?" in said[-1]
    assert lens_found.last(tmp_path, good, height_mm=1200.0, but=folder) == [
        "there is no earlier calibration to compare with"
    ]
