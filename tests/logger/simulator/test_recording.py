"""A written recording: its bytes, its truth, and that both agree with what is in the picture."""

from __future__ import annotations

import csv
import json
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.recording.card_toml import read_card
from logger.recording.rig_toml import read_rig
from logger.simulator import simulate
from logger.simulator.background import GAMMA, linear
from logger.simulator.boats import PAINTS
from logger.simulator.hull import area_and_centroid
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.wishes import wishes

SMALL = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0, "frame_rate_hz": 5.0}


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("simulated") / "run"
    simulate(place, seed=5, wall_contact=True, **SMALL)
    return place


def test_the_same_seed_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    simulate(tmp_path / "again", seed=5, wall_contact=True, **SMALL)
    names = sorted(path.name for path in folder.iterdir())
    assert names == sorted(path.name for path in (tmp_path / "again").iterdir())
    for name in names:
        assert (folder / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_another_seed_gives_another_run(folder: Path, tmp_path: Path) -> None:
    simulate(tmp_path / "other", seed=6, **SMALL)
    assert (folder / "truth.csv").read_bytes() != (tmp_path / "other" / "truth.csv").read_bytes()


def test_everything_says_that_it_is_simulated(folder: Path) -> None:
    assert read_rig(folder / "rig.toml").simulated
    assert read_card(folder / "recording.toml").simulated
    assert json.loads((folder / "truth.json").read_text())["simulated"]


def test_there_is_a_stamp_and_a_truth_for_every_picture(folder: Path) -> None:
    video = cv2.VideoCapture(str(folder / "video.mjpeg"))
    count = 0
    while video.read()[0]:
        count += 1
    stamps, truths = rows(folder / "frames.csv"), rows(folder / "truth.csv")
    assert count == len(stamps) == len(truths) > 20
    assert all(int(a["t_ns"]) < int(b["t_ns"]) for a, b in pairwise(stamps))


def test_the_bow_is_on_the_line_at_the_crossing_and_half_way_between_neighbours(folder: Path) -> None:
    facts = json.loads((folder / "truth.json").read_text())
    places = {line["name"]: line for line in facts["lines"]}
    for crossing in facts["crossings"]:
        line = places[crossing["line"]]
        normal = np.array([np.cos(np.radians(line["normal_deg"])), np.sin(np.radians(line["normal_deg"]))])
        assert np.dot(crossing["bow_mm"], normal) == pytest.approx(line["place_mm"], abs=1e-6)


def test_a_full_folder_is_refused(folder: Path) -> None:
    with pytest.raises(InputError, match="wanted a new or empty folder"):
        simulate(folder, seed=5)


def test_an_unknown_option_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="found the option colour; wanted one of"):
        simulate(tmp_path / "x", seed=5, colour="red")


def a_flat_scene(seed: int, **asked: object) -> Scene:
    """A boat without freeboard on a plain floor, quiet sensor: the silhouette is the waterline."""
    plain = {
        "freeboard_mm": 1e-3, "flare": 0.0, "floor_pattern": "plain", "noise_dn": 1e-6, "paint": "black",
        "floor": "white tray", "shape": "pointed", "tank_length_mm": 1500.0, "length_mm": 180.0, "plain_deck": True,
    }  # fmt: skip
    return draw(tier="easy", kind="straight", seed=seed, asked=wishes(plain | asked))


@pytest.mark.parametrize("seed", range(4))
def test_the_grey_centroid_of_the_drawn_boat_is_the_projected_truth(seed: int) -> None:
    scene = a_flat_scene(seed, exposure_ns=8_000_000, line_ns=20_000, shade=0.0)
    painter = Painter(scene)
    number = len(scene.shutter.begins_ns) // 2
    middle_s = (float(scene.shutter.begins_ns[number]) + scene.shutter.exposure_ns / 2) / 1e9
    water, _ = painter.outlines_px(middle_s)
    # undo the tone curve and the uneven light: what is left is how much of each pixel the boat covers
    light = (painter.frame(number).astype(float) / 255.0) ** GAMMA
    boat = painter.still.lamp[..., None] * linear(PAINTS["black"])
    share = ((painter.still.light - light) / (painter.still.light - boat)).mean(axis=2)
    share[share < 0.04] = 0.0
    v, u = np.mgrid[0 : share.shape[0], 0 : share.shape[1]]
    near = (np.abs(u - water[:, 0].mean()) < 120) & (np.abs(v - water[:, 1].mean()) < 80)
    share, u, v = share[near], u[near], v[near]
    seen = np.array([(share * u).sum(), (share * v).sum()]) / share.sum()
    np.testing.assert_allclose(seen, area_and_centroid(water)[1], atol=0.05)
