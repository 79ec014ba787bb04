"""Worlds drawn by chance: within their bounds, unchanged by wishes that do not concern them."""

from __future__ import annotations

import numpy as np
import pytest

from logger.errors import InputError
from logger.simulator import told
from logger.simulator.scene import draw
from logger.simulator.wishes import Wishes, wishes

TIER_NAMES = ("easy", "realistic", "hard")


@pytest.mark.parametrize("tier", TIER_NAMES)
@pytest.mark.parametrize("seed", range(8))
def test_the_boat_stays_in_the_water_and_in_the_picture(tier: str, seed: int) -> None:
    scene = draw(tier=tier, kind="drift", seed=seed, asked=Wishes())  # type: ignore[arg-type]
    basin, hull = scene.basin, scene.hull
    assert 80 <= np.ptp(hull.outline_mm[:, 0]) <= 350
    assert 8 <= hull.freeboard_mm <= 40
    for x, y, heading in scene.voyage.pose(np.linspace(0, scene.length_s, 60)):
        c, s = np.cos(heading), np.sin(heading)
        corners = hull.outline_mm @ np.array([[c, s], [-s, c]]) + (x, y)
        assert (np.abs(corners[:, 1]) < basin.half_width_mm - 5).all()
        assert corners[:, 0].min() > basin.back_mm
        assert corners[:, 0].max() < basin.front_mm + 1e-6
        pixels = scene.eye.see(np.column_stack([corners, np.zeros(len(corners))]))
        assert (pixels > 0).all()
        assert (pixels < (1279, 719)).all()


@pytest.mark.parametrize("seed", range(8))
def test_the_boat_is_armed_at_rest_behind_the_start_line(seed: int) -> None:
    scene = draw(tier="hard", kind="straight", seed=seed, asked=Wishes())
    start = scene.line("start")
    assert start is not None
    assert scene.armed_s < scene.voyage.go_s
    assert scene.voyage.front([scene.armed_s], start)[0] < -10
    assert scene.voyage.speed([scene.armed_s, scene.voyage.go_s]).max() == 0


@pytest.mark.parametrize("kind", ["drift", "straight"])
@pytest.mark.parametrize("seed", range(8))
def test_the_recording_goes_on_for_a_second_and_a_half_after_the_run(kind: str, seed: int) -> None:
    scene = draw(tier="hard", kind=kind, seed=seed, asked=wishes({"frame_rate_hz": 30.0}))
    all_frames = draw(tier="easy", kind=kind, seed=seed, asked=Wishes())
    assert scene.length_s > scene.ended_s + 1.5
    assert all_frames.shutter.begins_ns[-1] / 1e9 > all_frames.ended_s + 1.5


def test_the_easy_tier_is_easy() -> None:
    for seed in range(10):
        scene = draw(tier="easy", kind="drift", seed=seed, asked=Wishes())
        tilt = np.degrees(np.arccos(-scene.eye.rotation[2, 2]))
        assert tilt <= 2 * np.sqrt(2)
        assert scene.sail is None
        assert scene.bump is None
        assert scene.visitors == ()
        assert scene.waves.still
        assert scene.light_change.steady
        assert (np.diff(scene.shutter.sequence) == 1).all()


def test_the_hard_tier_loses_about_seven_in_a_hundred_frames_in_bursts() -> None:
    kept, sent, longest = 0, 0, 0
    for seed in range(20):
        sequence = draw(tier="hard", kind="drift", seed=seed, asked=Wishes()).shutter.sequence
        kept, sent = kept + len(sequence), sent + int(sequence[-1]) + 1
        longest = max(longest, int(np.diff(sequence).max()) - 1)
    assert 1 - kept / sent == pytest.approx(0.07, abs=0.02)
    assert longest >= 4


def test_a_wish_changes_what_it_names_and_nothing_else() -> None:
    plain = draw(tier="realistic", kind="drift", seed=9, asked=Wishes())
    painted = draw(tier="realistic", kind="drift", seed=9, asked=wishes({"paint": "foil"}))
    assert painted.paint == "foil"
    np.testing.assert_array_equal(plain.hull.outline_mm, painted.hull.outline_mm)
    np.testing.assert_array_equal(plain.eye.rotation, painted.eye.rotation)
    assert plain.ended_s == painted.ended_s


def test_other_kinds_and_tiers_are_refused_by_name() -> None:
    with pytest.raises(InputError, match="found kind 'race'; wanted drift or straight"):
        draw(tier="easy", kind="race", seed=1, asked=Wishes())
    with pytest.raises(InputError, match="found tier 'cruel'; wanted one of easy, realistic, hard"):
        draw(tier="cruel", kind="drift", seed=1, asked=Wishes())  # type: ignore[arg-type]


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
