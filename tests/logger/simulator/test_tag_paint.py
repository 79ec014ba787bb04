"""A tag in the picture: where its edges are seen, what hides it, what shines in it."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from logger.simulator.background import GAMMA
from logger.simulator.painter import Painter
from logger.simulator.scene import Scene, draw
from logger.simulator.wishes import wishes

Floats = NDArray[np.float64]
LARGE = {
    "tag": "square", "tag_size_mm": 60.0, "noise_dn": 1e-6, "tank_length_mm": 900.0, "length_mm": 140.0,
    "width_mm": 110.0, "shape": "pointed", "exposure_ns": 2_000_000,
}  # fmt: skip


def a_scene(seed: int, tier: str = "easy", **asked: object) -> Scene:
    return draw(tier=tier, kind="drift", seed=seed, asked=wishes(LARGE | asked))  # type: ignore[arg-type]


def light_of(scene: Scene, number: int) -> tuple[Floats, Floats]:
    """The picture's light, tone curve undone, and the true corners in it."""
    painter = Painter(scene)
    middle_s = (float(scene.shutter.begins_ns[number]) + scene.shutter.exposure_ns / 2) / 1e9
    assert scene.tag is not None
    light = ((painter.frame(number) / 255.0) ** GAMMA).mean(axis=2)
    return light, painter.sight.project(scene.tag.corners_mm(), middle_s)


def profile(light: Floats, middle: Floats, out: Floats, steps: Floats) -> Floats:
    """Light along a line through `middle`."""
    here = (middle + steps[:, None] * out).astype(np.float32)
    return np.asarray(cv2.remap(light.astype(np.float32), here[:, :1], here[:, 1:], cv2.INTER_CUBIC), float).ravel()


def outward(a: Floats, b: Floats) -> Floats:
    """Unit vector away from the tag across its side from a to b."""
    return np.array([(b - a)[1], -(b - a)[0]]) / np.hypot(*(b - a))


def off_at_ends(light: Floats, a: Floats, b: Floats) -> tuple[float, float]:
    """How far outside the chord from a to b the edge of the black is seen at its two ends: the lens bends it."""
    steps = np.arange(-4, 4.01, 0.1)
    shares = np.linspace(0.15, 0.85, 40)
    offs = []
    for share in shares:
        seen = profile(light, a + share * (b - a), outward(a, b), steps)
        dark, bright = np.median(seen[:15]), np.median(seen[-15:])
        # as much of the profile as is dark lies before the edge
        offs.append(steps[0] - 0.05 + 0.1 * ((bright - seen) / (bright - dark)).sum())
    curve = np.polyfit(shares, offs, 2)
    return float(np.polyval(curve, 0.0)), float(np.polyval(curve, 1.0))


@pytest.mark.parametrize("seed", range(6))
def test_the_corners_are_seen_where_they_are(seed: int) -> None:
    """Judge: curves through the edges of the black, found in the light; where they meet is a corner."""
    scene = a_scene(seed, line_ns=20_000)
    number = (0, len(scene.shutter.begins_ns) // 2, len(scene.shutter.begins_ns) - 1)[seed % 3]
    light, true = light_of(scene, number)
    ways = np.array([outward(true[n], true[(n + 1) % 4]) for n in range(4)])
    ends = [off_at_ends(light, true[n], true[(n + 1) % 4]) for n in range(4)]
    off = [np.linalg.solve([ways[n - 1], ways[n]], [ends[n - 1][1], ends[n][0]]) for n in range(4)]
    assert np.abs(off).max() < 0.1
    assert np.abs(np.mean(off, axis=0)).max() < 0.04


@pytest.mark.parametrize("seed", range(3))
def test_the_reference_library_reads_number_and_corners(seed: int) -> None:
    """Judge: cv2.aruco with sub-pixel corners; it pulls corners inward by up to 0.2 px, their mean not."""
    scene = a_scene(seed, tag_number=10 + seed)
    light, true = light_of(scene, 40)
    assert scene.tag is not None
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, scene.tag.family))
    grey = np.clip(255 * light / light.max(), 0, 255).astype(np.uint8)
    found, numbers, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    assert numbers.ravel().tolist() == [10 + seed]
    np.testing.assert_allclose(found[0][0], true, atol=0.3)
    np.testing.assert_allclose(found[0][0].mean(axis=0), true.mean(axis=0), atol=0.06)


def test_the_centre_of_a_disc_is_seen_where_it_is() -> None:
    scene = a_scene(5, tag="disc", tag_size_mm=30.0)
    light, true = light_of(scene, 30)
    middle = true.mean(axis=0)
    v, u = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    side = np.hypot(*(true[0] - true[1]))
    near = np.hypot(u - middle[0], v - middle[1]) < 0.68 * side
    dark = np.clip(np.percentile(light[near], 95) - light, 0, None) * near
    seen = np.array([(dark * u).sum(), (dark * v).sum()]) / dark.sum()
    np.testing.assert_allclose(seen, middle, atol=0.1)


def test_a_moving_tag_is_smeared_along_its_way_and_no_other() -> None:
    seen = []
    for exposure_ns in (100_000, 12_000_000):
        scene = a_scene(4, exposure_ns=exposure_ns, speed_mm_per_s=900.0)
        seen.append(light_of(scene, int(scene.voyage.speed(scene.shutter.begins_ns / 1e9).argmax())))
    still, fast = seen

    def steepness(light: Floats, corners: Floats, first: int) -> float:
        """Of the edge between two corners, in light per quarter of a pixel."""
        a, b = corners[first], corners[(first + 1) % 4]
        return float(np.abs(np.diff(profile(light, (a + b) / 2, outward(a, b), np.arange(-5, 5, 0.25)))).max())

    assert steepness(*fast, 0) < 0.5 * steepness(*still, 0)
    assert steepness(*fast, 1) == pytest.approx(steepness(*still, 1), rel=0.15)


def test_a_sail_hides_the_tag_below_it() -> None:
    scene = next(
        s for seed in range(40) if (s := a_scene(seed, "hard", line_ns=0)).sail is not None and s.sail.square
    )  # fmt: skip
    assert scene.sail is not None
    assert scene.tag is not None
    below = replace(scene, tag=replace(scene.tag, ahead_mm=scene.sail.mast_x_mm), visitors=())
    dark = {}
    for name, seen in (("sail", below), ("none", replace(below, sail=None))):
        light, corners = light_of(seen, 0)
        mask = np.zeros(light.shape, np.uint8)
        cv2.fillConvexPoly(mask, np.round(corners).astype(np.int32), 1)
        dark[name] = int(((light < 0.15) & (mask == 1)).sum())
    assert dark["sail"] < 0.8 * dark["none"]


def test_a_lamp_shines_in_the_film_where_it_is_mirrored_and_moves_with_the_boat() -> None:
    scene = a_scene(6, "realistic", tag="disc", tag_size_mm=40.0)
    assert scene.tag is not None
    scene = replace(scene, sail=None, visitors=())
    x, y, _ = scene.voyage.pose([0.0])[0]
    middle = (scene.basin.back_mm + scene.basin.front_mm) / 2
    # right above the tag's mirror point: as far beyond the tag as the eye is before it
    eye = scene.eye.place_mm
    lamp = (2 * x - eye[0] - middle, 2 * y - eye[1], eye[2], 1.0)
    bright = {}
    for name, lamps in (("lamp", (lamp,)), ("none", ())):
        shining = replace(scene, tag=replace(scene.tag, sheet=replace(scene.tag.sheet, lamps=lamps, waviness=0.0)))
        for moment in (0, len(scene.shutter.begins_ns) - 1):
            light, corners = light_of(shining, moment)
            u, v = np.round(corners.mean(axis=0)).astype(int)
            bright[name, moment != 0] = light[v - 8 : v + 9, u - 8 : u + 9].mean()
    assert bright["lamp", False] > bright["none", False] + 0.15
    assert bright["lamp", True] == pytest.approx(bright["none", True], abs=0.02)
