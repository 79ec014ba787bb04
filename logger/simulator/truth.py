"""The truth of a run, as files beside the recording: what a perfect instrument would have said."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger.simulator import gates
from logger.simulator.course import STOP_SPEED_MM_PER_S, WALL_MARGIN_MM
from logger.simulator.scene import Scene
from logger.simulator.touch import Touch
from logger.simulator.visitors import Hand
from logger.simulator.voyage import TrueLine

Floats = NDArray[np.float64]
COLUMNS = ("frame", "t_ns", "x_mm", "y_mm", "heading_deg", "bow_x_mm", "bow_y_mm", "speed_mm_per_s")


def row_times_s(scene: Scene) -> Floats:
    """(N,) mid-exposure of the boat's own picture row in every frame, seconds of the recording."""
    begins = scene.shutter.begins_ns / 1e9 + scene.shutter.exposure_ns / 2e9
    line_s = scene.shutter.line_ns / 1e9
    times: Floats = begins + line_s * scene.eye.height_px / 2
    for _ in range(4):
        pose = scene.voyage.pose(times)
        seen = scene.eye.see(np.column_stack([pose[:, :2], np.zeros(len(pose))]))
        times = begins + line_s * seen[:, 1]
    return times


def track(scene: Scene) -> Floats:
    """(N, 7) per frame: seconds of the recording, x, y, heading in rad, bow x, bow y, speed; mm and mm/s.

    Not a number, but for the time, as long as the boat is not in the water.
    """
    times = row_times_s(scene)
    pose, bow = scene.voyage.pose(times), scene.voyage.bow(times, normal_rad=0.0)
    rows = np.column_stack([times, pose, bow, scene.voyage.speed(times)])
    if scene.entry is not None:
        rows[times < scene.entry.at_s, 1:] = np.nan
    return rows


def track_text(scene: Scene) -> str:
    """truth.csv: the waterline centroid at the mid-exposure of its own row, on the rig's clock."""
    lines = [",".join(COLUMNS)]
    for number, (t, x, y, heading, bow_x, bow_y, speed) in enumerate(track(scene)):
        lines.append(
            f"{number},{scene.t_ns(t)},{x:.6f},{y:.6f},{np.degrees(heading):.6f},{bow_x:.6f},{bow_y:.6f},{speed:.6f}"
        )
    return "\n".join(lines) + "\n"


def _crossing(scene: Scene, line: TrueLine, moment: float) -> dict[str, Any]:
    x, y, heading = scene.voyage.pose([moment])[0]
    bow = scene.voyage.bow([moment], normal_rad=line.normal_rad)[0]
    return {
        "line": line.name, "t_ns": scene.t_ns(moment), "speed_mm_per_s": float(scene.voyage.speed([moment])[0]),
        "bow_mm": bow.tolist(), "centroid_mm": [float(x), float(y)], "heading_deg": float(np.degrees(heading)),
    }  # fmt: skip


def summary(scene: Scene) -> dict[str, Any]:
    """truth.json."""
    voyage = scene.voyage
    crossings = {line.name: voyage.crossing_s(line, until_s=scene.length_s) for line in scene.lines}
    started, last = crossings["start"], scene.lines[-1]
    facts: dict[str, Any] = {
        "format": "boatrun-truth/1", "simulated": True, "tier": scene.tier_name, "kind": scene.kind,
        "seed": scene.seed, "armed_ns": scene.t_ns(scene.armed_s), "go_ns": scene.t_ns(voyage.go_s),
        "ended_ns": scene.t_ns(scene.ended_s),
        "crossings": [_crossing(scene, line, t) for line in scene.lines if (t := crossings[line.name]) is not None],
        "beams": [
            {"gate": beam.name, "t_ns": scene.t_ns(t), "blocked": blocked}
            for beam in scene.beams for t, blocked in gates.passages_s(scene, beam)
        ],
        "false_breaks": [
            {"gate": p.gate, "from_ns": scene.t_ns(p.from_s), "to_ns": scene.t_ns(p.to_s), "why": p.why}
            for p in gates.pulses(scene)
        ],
        "seen_besides": [type(thing).__name__.lower() for thing in (*scene.visitors, *scene.room)],
        "shadows": {
            "from_deg": float(np.degrees(scene.light.from_rad)), "slant": scene.light.slant,
            "darkness": scene.light.shade, "spread": scene.light.spread,
        },
        "touches": _touches(scene),
        "enters_ns": None if scene.entry is None else scene.t_ns(scene.entry.at_s),
        "bump_ns": None if scene.bump is None else scene.t_ns(scene.bump.at_s),
        "bump_px": None if scene.bump is None else list(scene.bump.left_px),
        "exposure_step_ns": scene.t_ns(scene.light_change.step_s) if scene.light_change.step else None,
        "wall_contact_ns": _wall_contact(scene),
        "lines": [_line_fact(line) for line in scene.lines],
        "gate_distance_mm": scene.beams[-1].place_mm - scene.beams[0].place_mm if scene.beams else None,
        "boat": _boat_fact(scene), "camera": _camera_fact(scene), "tank": _tank_fact(scene),
    }  # fmt: skip
    return facts | _results(scene, started, crossings[last.name])


def _results(scene: Scene, started: float | None, lined: float | None) -> dict[str, Any]:
    """How the run ended by its rules, and the measures up to there: drift for a coast, path from the start line on."""
    voyage = scene.voyage
    if scene.kind == "straight":
        reason, over = ("time_cap", scene.ended_s) if lined is None else ("finish", lined)
    else:
        reason, over = _coast_end(scene, lined)
    x, y, heading = voyage.pose([over])[0]
    last = scene.lines[-1]
    return {
        "end_reason": reason, "end_ns": scene.t_ns(over), "end_mm": [float(x), float(y)],
        "end_heading_deg": float(np.degrees(heading)),
        "end_bow_mm": voyage.bow([over], normal_rad=last.normal_rad)[0].tolist(),
        "drift_mm": None if scene.kind == "straight" else float(voyage.front([over], last)[0]),
        "path_mm": None if started is None else voyage.path_mm(started, over),
    }  # fmt: skip


def _coast_end(scene: Scene, lined: float | None) -> tuple[str, float]:
    """Why and when a coast ended: slow for good, or the bow near the end wall, whichever came first."""
    voyage, until = scene.voyage, scene.length_s
    near_wall = TrueLine("wall", "wall", scene.basin.front_mm - WALL_MARGIN_MM)
    slow = voyage.slower_s(STOP_SPEED_MM_PER_S, until_s=until)
    wall = voyage.crossing_s(near_wall, until_s=until)
    ends = [("at_rest", slow), ("wall", wall), ("time_cap", scene.ended_s)]
    return min(((why, t) for why, t in ends if t is not None and (lined is None or t >= lined)), key=lambda e: e[1])


def _wall_contact(scene: Scene) -> int | None:
    moment = scene.voyage.meets_s(scene.basin.front_mm, until_s=scene.length_s)
    return None if moment is None else scene.t_ns(moment)


def _touches(scene: Scene) -> list[dict[str, Any]]:
    """When somebody touched the boat: the hand that holds it until go, and who pushed it on its way."""
    found: list[dict[str, Any]] = []
    for visitor in scene.visitors:
        if isinstance(visitor, Hand):
            begin = 0.0 if visitor.entry is None else visitor.entry.from_s
            span, by, change = (begin, scene.voyage.go_s), "hand", 0.0
        elif isinstance(visitor, Touch):
            span, by, change = (visitor.from_s, visitor.to_s), visitor.by, visitor.speed_change_mm_per_s
        else:
            continue
        first, last = (scene.t_ns(moment) for moment in span)
        found.append({"from_ns": first, "to_ns": last, "by": by, "speed_change_mm_per_s": change})
    return sorted(found, key=lambda touch: int(touch["from_ns"]))


def _line_fact(line: TrueLine) -> dict[str, Any]:
    return {
        "name": line.name, "role": line.role, "place_mm": line.place_mm,
        "normal_deg": float(np.degrees(line.normal_rad)),
    }  # fmt: skip


def _boat_fact(scene: Scene) -> dict[str, Any]:
    hull = scene.hull
    length, width = np.ptp(hull.outline_mm, axis=0).tolist()
    return {
        "waterline_length_mm": length, "waterline_width_mm": width, "deck_scale": hull.deck_scale,
        "freeboard_mm": hull.freeboard_mm, "draught_mm": hull.draught_mm, "mass_g": scene.mass_g, "paint": scene.paint,
        "mast_height_mm": None if scene.sail is None else scene.sail.top_mm,
        "outline_mm": hull.outline_mm.tolist(),
    } | _drag_fact(scene) | _tag_fact(scene)  # fmt: skip


def _drag_fact(scene: Scene) -> dict[str, Any]:
    """What resists the boat, over the mass that counts the water carried along."""
    drag = scene.voyage.drag
    if drag is None:
        return {}
    return {
        "drag_linear_per_s": drag.a_g_per_s / drag.mass_g, "drag_quadratic_per_mm": drag.b_g_per_mm / drag.mass_g
    }  # fmt: skip


def _tag_fact(scene: Scene) -> dict[str, Any]:
    """The tag as it truly sits, if there is one."""
    tag = scene.tag
    if tag is None:
        return {}
    return {
        "tag": {
            "kind": tag.kind, "number": tag.number, "family": tag.family if tag.kind == "square" else None,
            "size_mm": tag.size_mm, "height_mm": tag.height_mm, "bow_ahead_mm": tag.bow_ahead_mm,
            "ahead_mm": tag.ahead_mm, "left_mm": tag.left_mm, "turn_deg": float(np.degrees(tag.turn_rad)),
        }
    }  # fmt: skip


def _camera_fact(scene: Scene) -> dict[str, Any]:
    eye, shutter = scene.eye, scene.shutter
    return {
        "width_px": eye.width_px, "height_px": eye.height_px, "f_px": eye.f_px, "cx_px": eye.cx_px, "cy_px": eye.cy_px,
        "radial": list(eye.radial), "tangential": list(eye.tangential), "rotation": eye.rotation.tolist(),
        "place_mm": eye.place_mm.tolist(), "exposure_ns": shutter.exposure_ns, "line_ns": shutter.line_ns,
        "delay_ns": shutter.delay_ns,
    }  # fmt: skip


def _tank_fact(scene: Scene) -> dict[str, Any]:
    basin = scene.basin
    return {"outline_mm": [list(p) for p in basin.outline_mm], "water_depth_mm": basin.depth_mm, "floor": basin.pattern}
