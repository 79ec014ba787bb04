"""How much of a tag a picture shows."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.recording.folder import load
from logger.simulator import simulate
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.tag_seen import seen
from logger.simulator.wishes import wishes


def a_scene(tier: str, **asked: object) -> Scene:
    wanted = {"tag": "square", "tag_size_mm": 40.0, "length_mm": 200.0, "width_mm": 100.0, "noise_dn": 1e-6}
    return draw(tier=tier, kind="drift", seed=7, asked=wishes(wanted | asked))  # type: ignore[arg-type]


def test_with_nothing_over_it_all_of_it_is_seen_where_it_is() -> None:
    scene = a_scene("easy", frame_rate_hz=3.0)
    assert scene.tag is not None
    rows = seen(scene, scene.tag)
    assert rows[:, 2].min() > 0.999
    x, y, heading = scene.voyage.pose(scene.shutter.begins_ns / 1e9)[-1]
    ahead, left = scene.tag.ahead_mm, scene.tag.left_mm
    c, s = np.cos(heading), np.sin(heading)
    middle = scene.eye.see([(x + c * ahead - s * left, y + s * ahead + c * left, scene.tag.height_mm)])[0]
    np.testing.assert_allclose(rows[-1, :2], middle, atol=0.3)


def test_the_share_is_what_the_picture_shows() -> None:
    """Judge: the picture itself, with a black tag on white and a bright sail in front, against one without the sail."""
    scene = next(
        s
        for seed in range(40)
        if (s := draw(tier="hard", kind="drift", seed=seed, asked=wishes({"tag": "disc", "frame_rate_hz": 3.0}))).sail
        is not None
    )
    assert scene.tag is not None
    assert scene.sail is not None
    scene = replace(scene, visitors=(), tag=replace(scene.tag, ahead_mm=scene.sail.mast_x_mm - 12.0))
    assert scene.tag is not None
    shares = seen(scene, scene.tag)[:, 2]
    number = int(np.abs(shares - 0.5).argmin())
    assert 0.1 < shares[number] < 0.9
    bare = replace(scene, sail=None)
    first_s = (float(scene.shutter.begins_ns[number]) + scene.shutter.exposure_ns / 2) / 1e9
    painter = Painter(scene)
    corners = painter.sight.project(scene.tag.corners_mm(), first_s)
    mask = np.zeros((720, 1280), np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners).astype(np.int32), 1)
    # where the sail is, the picture changes by more than its shadow does
    change = np.abs(painter.frame(number).astype(int) - Painter(bare).frame(number)).max(axis=2)
    changed = float(((change > 25) & (mask == 1)).sum() / mask.sum())
    assert 1.0 - changed == pytest.approx(shares[number], abs=0.1)


def test_a_hand_over_it_and_a_boat_that_is_not_there_hide_it() -> None:
    scene = a_scene("easy", enters_s=3.0, frame_rate_hz=5.0)
    assert scene.tag is not None
    rows = seen(scene, scene.tag)
    early = scene.shutter.begins_ns / 1e9 < 1.4
    assert early.any()
    assert (rows[early, 2] == 0).all()
    assert np.isnan(rows[early, 0]).all()
    hand = replace(next(v for v in scene.visitors), grip_mm=scene.voyage.pose([0.0])[0, :2])  # type: ignore[type-var]
    covered = seen(replace(scene, visitors=(hand,)), scene.tag)
    floating = np.flatnonzero(scene.shutter.begins_ns / 1e9 > 3.1)[0]
    assert covered[floating, 2] < rows[floating, 2]


def test_it_is_written_for_every_picture_and_the_recording_is_still_one(tmp_path: Path) -> None:
    simulate(tmp_path / "run", tier="hard", seed=8, tag="square", tank_length_mm=900.0, frame_rate_hz=2.0)
    recording = load(tmp_path / "run")
    assert recording.doubts == ()
    assert recording.card.boat.tag is not None
    with (tmp_path / "run" / "truth_tag.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert recording.stamps is not None
    assert len(rows) == len(recording.stamps.t_ns)
    assert all(0.0 <= float(row["seen_share"]) <= 1.0 for row in rows)
