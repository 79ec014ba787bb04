"""What the measures of a simulated run truly are, from its exact motion and with no code of the instrument."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.config import Zone
from logger.simulator.scene import Scene

Floats = NDArray[np.float64]
_TOP_SPEED_S = 0.25
_SLOW_MM_PER_S = 10.0
_STEP_S = 0.004


def along(scene: Scene, from_s: float, until_s: float) -> dict[str, float]:
    """Top speed, straightness, sideways way, swing and time stuck between two moments of the recording."""
    time = np.linspace(from_s, until_s, max(2000, round((until_s - from_s) / _STEP_S)))
    pose = scene.voyage.pose(time)
    places, heading = pose[:, :2], pose[:, 2]
    chord = places[-1] - places[0]
    far = float(np.hypot(*chord))
    aside = (places - places[0]) @ np.array([-chord[1], chord[0]]) / far
    windows = np.linspace(from_s, until_s - _TOP_SPEED_S, 4000)
    moved = np.hypot(*(scene.voyage.pose(windows + _TOP_SPEED_S) - scene.voyage.pose(windows))[:, :2].T)
    return {
        "speed_max_m_per_s": float(moved.max() / _TOP_SPEED_S / 1e3),
        "sideways_mm": float(np.abs(aside).max()),
        "straightness": far / scene.voyage.path_mm(from_s, until_s),
        "heading_swing_deg": float(np.degrees(np.ptp(heading))),
        "stuck_s": _below(time, scene.voyage.speed(time) - _SLOW_MM_PER_S),
    }


def coast(truth: Mapping[str, Any]) -> dict[str, float]:
    """Coast time, slowing and the two coefficients of drag of a drift run."""
    line = truth["crossings"][-1]
    linear, quadratic = truth["boat"]["drag_linear_per_s"], truth["boat"]["drag_quadratic_per_mm"]
    speed = line["speed_mm_per_s"]
    return {
        "coast_time_s": (truth["end_ns"] - line["t_ns"]) / 1e9,
        "drag_linear_per_s": linear,
        "drag_quadratic_per_m": quadratic * 1e3,
        "deceleration_m_per_s2": (linear * speed + quadratic * speed**2) / 1e3,
    }


def courses(scene: Scene, zones: Sequence[Zone], from_s: float, until_s: float) -> dict[str, float]:
    """Ports, rings, touches of obstacles and time in ports."""
    time = np.arange(from_s, until_s + _STEP_S, _STEP_S)
    pose = scene.voyage.pose(time)
    found = {"ports_count": 0.0, "rings_count": 0.0, "obstacle_touches_count": 0.0, "port_dwell_s": 0.0}
    for zone in zones:
        gap = gap_mm(pose, scene.hull.outline_mm, zone)
        over = gap < 0
        came = int(over[0]) + int((over[1:] & ~over[:-1]).sum())
        if zone.kind == "obstacle":
            found["obstacle_touches_count"] += came
        else:
            found[f"{zone.kind}s_count"] += bool(came)
        if zone.kind == "port":
            found["port_dwell_s"] += _below(time, gap)
    return found


def gap_mm(pose: Floats, outline_mm: Floats, zone: Zone) -> Floats:
    """(k,) how far a convex hull is from a zone, negative where they overlap; its sign is exact.

    Two convex shapes overlap unless a side of one of them parts them (separating axes). A disc and a hull: the
    distance of the disc's middle from the hull, less the radius.
    """
    cos, sin = np.cos(pose[:, 2])[:, None], np.sin(pose[:, 2])[:, None]
    hull = np.stack([
        pose[:, :1] + cos * outline_mm[:, 0] - sin * outline_mm[:, 1],
        pose[:, 1:2] + sin * outline_mm[:, 0] + cos * outline_mm[:, 1],
    ], axis=-1)  # fmt: skip
    if zone.middle_mm is not None and zone.radius_mm is not None:
        return _to_point(hull, np.array(zone.middle_mm)) - zone.radius_mm
    corners = np.array(zone.outline_mm)
    by_zone = _beyond(corners[None], hull)
    by_hull = _beyond(hull, np.broadcast_to(corners, (len(hull), *corners.shape)))
    return np.maximum(by_zone, by_hull)


def _outward(shape: Floats) -> tuple[Floats, Floats]:
    """Sides (k, n, 2) and their outward unit normals of anticlockwise shapes."""
    sides = np.roll(shape, -1, axis=1) - shape
    normals = np.stack([sides[..., 1], -sides[..., 0]], axis=-1)
    return sides, normals / np.maximum(np.hypot(normals[..., 0], normals[..., 1]), 1e-12)[..., None]


def _beyond(shape: Floats, other: Floats) -> Floats:
    """(k,) how far `other` lies outside the side of `shape` that parts them best."""
    _, normals = _outward(shape)
    offset = (shape * normals).sum(axis=-1)
    reach = np.einsum("knd,kmd->knm", np.broadcast_to(normals, (len(other), *normals.shape[1:])), other).min(axis=2)
    found: Floats = (reach - offset).max(axis=1)
    return found


def _to_point(hull: Floats, point: Floats) -> Floats:
    sides, normals = _outward(hull)
    off = point - hull
    share = np.clip((off * sides).sum(-1) / np.maximum((sides**2).sum(-1), 1e-12), 0, 1)
    near = np.hypot(*np.moveaxis(off - share[..., None] * sides, -1, 0)).min(axis=1)
    inside = ((off * normals).sum(-1) <= 0).all(axis=1)
    found: Floats = np.where(inside, -near, near)
    return found


def _below(time: Floats, level: Floats) -> float:
    """How long `level` is below 0, straight between moments."""
    first, second, step = level[:-1], level[1:], np.diff(time)
    share = np.where(
        (first < 0) == (second < 0), (first < 0) * 1.0, np.minimum(first, second) / -np.abs(second - first)
    )
    return float((step * share).sum())
