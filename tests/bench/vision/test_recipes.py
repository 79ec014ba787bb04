"""The stock recipes are not made to lose: on an easy film of a textured card that glides they hold it."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration import tags
from calibration.lens import Lens
from calibration.waterplane import Pose, View
from tests.bench.vision.recipes import ONLY_SQUARES, RECIPES, Given, cooked

WIDTH, HEIGHT, COUNT = 640, 360, 60
HALF = np.array([60, 30])
NUMBER, CELL_PX = 7, 8
DOWN = np.diag([1.0, -1.0, -1.0])
VIEW = View(Lens(WIDTH, HEIGHT, 500, 500, 319.5, 179.5), Pose(DOWN, -DOWN @ np.array([0.0, 0.0, 1000.0])))


def middles_px() -> np.ndarray:
    return np.column_stack([100 + 7.0 * np.arange(COUNT), 180 - 0.5 * np.arange(COUNT)]).round()


def film(folder: Path, *, with_tag: bool, empty_count: int = 0) -> Path:
    chance = np.random.default_rng(1)
    card = cv2.GaussianBlur(chance.integers(20, 130, (*(2 * HALF[::-1]), 3)).astype(np.uint8), (5, 5), 0)
    card = np.clip(card * np.array([0.3, 0.8, 2.2]), 0, 255).astype(np.uint8)  # a colour that no shadow has
    if with_tag:
        black = np.pad(tags.cells(NUMBER), tags.QUIET_COUNT)
        black = np.rot90(black, -1)  # its upper edge to the right, where the card goes
        square = np.kron(np.where(black, 20, 230), np.ones((CELL_PX - 1, CELL_PX - 1))).astype(np.uint8)
        low = HALF[::-1] - len(square) // 2
        card[low[0] : low[0] + len(square), low[1] : low[1] + len(square)] = square[:, :, None]
    writer = cv2.VideoWriter(str(folder / "film.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 30, (WIDTH, HEIGHT))
    for _ in range(empty_count):
        writer.write(np.full((HEIGHT, WIDTH, 3), 190, np.uint8))
    for middle in middles_px().astype(int):
        picture = np.full((HEIGHT, WIDTH, 3), 190, np.uint8)
        (x, y), (half_x, half_y) = middle, HALF
        picture[y - half_y : y + half_y, x - half_x : x + half_x] = card
        writer.write(picture)
    writer.release()
    return folder / "film.avi"


def told(video: Path, tag: dict[str, float] | None = None) -> Given:
    start = middles_px()[0] - 0.5
    corners = start + np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * HALF
    return Given(video, VIEW, 0.0, start, corners, frozenset(range(0, COUNT, 4)), tag)


def truth() -> np.ndarray:
    return np.column_stack([np.zeros((COUNT, 2)), VIEW.to_plane(middles_px() - 0.5)])


@pytest.mark.parametrize("name", ["difference", "template", "flow"])
def test_a_recipe_holds_a_card_that_glides(name: str, tmp_path: Path) -> None:
    seen = cooked(name, told(film(tmp_path, with_tag=False)), truth(), decode_s=1.0, silent_mm=10.0)
    assert seen.lost_share == 0
    assert max(seen.apart_mm) < 4.0  # two millimetres a pixel
    assert seen.speed_share == pytest.approx(1 / seen.spent_s)


def test_the_subtractor_holds_it_after_half_its_memory_of_an_empty_tank(tmp_path: Path) -> None:
    """Before, it learns so quickly that the card melts into the background from behind, and so it does at rest."""
    empty_count = 160
    true = np.vstack([np.full((empty_count, 4), 1e6), truth()])
    video = film(tmp_path, with_tag=False, empty_count=empty_count)
    seen = cooked("subtractor", told(video), true, decode_s=1.0, silent_mm=10.0)
    assert 1 - seen.lost_share == COUNT / len(true)
    assert max(seen.apart_mm) < 4.0
    assert seen.silent_share == 0


def test_squares_are_read_and_their_place_on_the_boat_taken_off(tmp_path: Path) -> None:
    tag = {"number": NUMBER, "height_mm": 0.0, "ahead_mm": 0.0, "left_mm": 0.0, "turn_deg": 0.0}
    video = film(tmp_path, with_tag=True)
    seen = cooked("squares", told(video, tag), truth(), decode_s=1.0, silent_mm=10.0)
    assert seen.lost_share == 0
    assert seen.rms_mm < 2.0
    moved = truth()
    moved[:, 2:4] += [-50.0, 20.0]  # the boat's point 50 mm behind the tag and 20 mm to its left: x is ahead here
    off = cooked(
        "squares", told(video, {**tag, "ahead_mm": 50.0, "left_mm": -20.0}), moved, decode_s=1.0, silent_mm=10.0
    )
    assert off.rms_mm < 2.0


def test_what_is_far_away_is_lost_and_what_is_wrong_is_silent(tmp_path: Path) -> None:
    true = truth()
    true[:20, 2] += 500.0
    true[20:30, 2] += 50.0
    seen = cooked("template", told(film(tmp_path, with_tag=False)), true, decode_s=1.0, silent_mm=10.0)
    assert seen.lost_share == pytest.approx(20 / COUNT)
    assert seen.silent_share == pytest.approx(30 / COUNT)


def test_every_recipe_is_tried_here() -> None:
    assert set(RECIPES) | set(ONLY_SQUARES) == {"subtractor", "difference", "template", "flow", "squares"}
