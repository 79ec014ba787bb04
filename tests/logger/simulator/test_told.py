"""What the instrument is told is off by what it says."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator import told
from logger.simulator.scene import draw
from logger.simulator.wishes import Wishes, wishes


def test_a_misjudged_camera_is_off_by_about_what_its_file_says() -> None:
    focal, heights, tilts = [], [], []
    for seed in range(80):
        scene = draw(tier="easy", kind="drift", seed=seed, asked=wishes({"camera_errors": True}))
        table = told.camera_table(scene)
        lens, pose = table["lens"], table["pose"]
        rotation, moved = np.array(pose["rotation"]), np.array(pose["translation_mm"])
        np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)
        focal.append((lens["fx_px"] - scene.eye.f_px) / lens["u_fx_px"])
        heights.append(((-rotation.T @ moved) - scene.eye.place_mm)[2] / pose["u_camera_height_mm"])
        turned = scene.eye.rotation.T @ rotation
        tilts.append(np.degrees(turned[2, 1]) / pose["u_tilt_deg"])
    for drawn in (focal, heights, tilts):
        # the spread of 80 draws is known to 8 %: three of those
        assert np.std(drawn) == pytest.approx(1.0, abs=0.25)


def test_what_the_rig_file_says_is_off_by_about_its_own_uncertainty() -> None:
    lines, beams, tapes, rulers = [], [], [], []
    for seed in range(150):
        scene = draw(tier="realistic", kind="straight", seed=seed, asked=Wishes())
        rig, boat = told.rig(scene), told.card(scene).boat
        start, gate = rig.lines[0], rig.gates[0]
        lines.append((start.a_mm[0] - scene.lines[0].place_mm) / start.u_mm)
        trip = start.a_mm[0] + gate.offset_mm
        beams.append((trip - scene.beams[0].place_mm) / gate.u_offset_mm)
        assert rig.gate_distance_mm is not None
        tapes.append(
            (rig.gate_distance_mm - (scene.beams[1].place_mm - scene.beams[0].place_mm)) / rig.u_gate_distance_mm
        )
        assert boat.freeboard_mm is not None
        rulers.append((boat.freeboard_mm - scene.hull.freeboard_mm) / boat.u_freeboard_mm)
    for drawn in (lines, beams, tapes, rulers):
        # the spread of 150 draws is known to 6 %: three of those
        assert np.std(drawn) == pytest.approx(1.0, abs=0.2)
        assert abs(np.mean(drawn)) < 0.3


def test_the_card_of_a_tag_is_off_by_about_its_own_uncertainty() -> None:
    off: dict[str, list[float]] = {"size": [], "height": [], "bow_ahead": [], "left": [], "turn": []}
    for seed in range(150):
        scene = draw(tier="easy", kind="straight", seed=seed, asked=wishes({"tag": "square"}))
        true, tag = scene.tag, told.card(scene).boat.tag
        assert true is not None
        assert tag is not None
        assert (tag.kind, tag.number) == ("square", true.number)
        assert tag.height_mm is not None
        assert tag.bow_ahead_mm is not None
        off["size"].append((tag.size_mm - true.size_mm) / tag.u_size_mm)
        off["height"].append((tag.height_mm - true.height_mm) / tag.u_height_mm)
        off["bow_ahead"].append((tag.bow_ahead_mm - true.bow_ahead_mm) / tag.u_bow_ahead_mm)
        off["left"].append((tag.left_mm - true.left_mm) / tag.u_left_mm)
        off["turn"].append(np.degrees(true.turn_rad) / tag.u_turn_deg)
    for drawn in off.values():
        # the spread of 150 draws is known to 6 %: three of those
        assert np.std(drawn) == pytest.approx(1.0, abs=0.2)
        assert abs(np.mean(drawn)) < 0.3


def test_an_exact_card_says_the_tag_as_it_is() -> None:
    scene = draw(tier="hard", kind="drift", seed=7, asked=wishes({"tag": "disc", "rig_errors": False}))
    true, tag = scene.tag, told.card(scene).boat.tag
    assert true is not None
    assert tag is not None
    told_mm = (tag.size_mm, tag.height_mm, tag.bow_ahead_mm, tag.left_mm)
    assert told_mm == pytest.approx((true.size_mm, true.height_mm, true.bow_ahead_mm, true.left_mm), abs=1e-3)
    assert tag.number is None
