"""What the instrument is told: rig file, boat card and camera file, with the errors of tape, ruler and scale."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from logger import __version__
from logger.config import Boat, CameraSetup, Conditions, DriverChoice, Gate, Line, Rig, Rules, RunCard, Tag, Tank
from logger.simulator.chance import stream
from logger.simulator.course import STOP_FOR_S, STOP_SPEED_MM_PER_S, WALL_MARGIN_MM
from logger.simulator.eye import Eye
from logger.simulator.scene import Scene
from logger.simulator.tag import TURN_DEG

Floats = NDArray[np.float64]
RULER_MM = 2.0
"""A ruler held against a wobbly hull is read to within this."""
BOW_RULER_MM, SIZE_MM = 1.0, 0.35
"""A ruler along the deck from the tag to the bow, and a calliper on the print, are read to within these."""
CAMERA_FILE = "camera.toml"
U_HEIGHT_MM, U_PLACE_MM, U_TILT_DEG, U_FOCAL = 1.0, 0.5, 0.03, 0.0007
"""How far a good calibration is off: height, place, tilt, relative focal length."""


def rig(scene: Scene) -> Rig:
    """The rig file of `scene`: true values, off by what its own uncertainties say."""
    rng = stream(scene.tank_seed, "tape")
    tier, basin = scene.tier, scene.basin
    shift = {line.name: _off(rng, scene, tier.u_line_mm) for line in scene.lines}
    lines = tuple(_line(scene, name, move) for name, move in shift.items())
    places = {line.name: line.place_mm for line in scene.lines}  # the ruler is held from the line that is there
    gates = tuple(
        Gate(
            name=beam.name, line=beam.role, u_offset_mm=tier.u_beam_mm, u_stamp_s=max(1e-4, tier.stamp_jitter_ns / 1e9),
            offset_mm=round(beam.place_mm - places[beam.role] + _off(rng, scene, tier.u_beam_mm), 4),
        )
        for beam in scene.beams
    )  # fmt: skip
    between = scene.beams[-1].place_mm - scene.beams[0].place_mm if scene.beams else None
    taped = None if between is None else round(between + _off(rng, scene, tier.u_gate_distance_mm), 4)
    return Rig(
        name=f"simulated {scene.tier_name} tank {scene.tank_seed}",
        tank=Tank(
            outline_mm=tuple((round(x, 3), round(y, 3)) for x, y in basin.outline_mm),
            water_depth_mm=round(basin.depth_mm + _off(rng, scene, 2.0), 1),
        ),
        lines=lines, gates=gates, camera=_camera(scene, rng), simulated=True,
        gates_driver=_driver(scene, "simulated_gates"),
        gate_distance_mm=taped, u_gate_distance_mm=tier.u_gate_distance_mm,
    )  # fmt: skip


def _driver(scene: Scene, kind: str) -> DriverChoice:
    """The driver that tells this very run again."""
    return DriverChoice(kind, {"tier": scene.tier_name, "run_kind": scene.kind, "seed": scene.seed})


def _off(rng: np.random.Generator, scene: Scene, u: float) -> float:
    """An error of standard deviation `u`; none if the caller wished for an exact rig."""
    drawn = float(rng.normal(0, u))
    return drawn if scene.wishes.rig_errors else 0.0


def _line(scene: Scene, name: str, shift_mm: float) -> Line:
    """The line's two ends at the side walls, seen in the direction of travel from right to left."""
    line = next(line for line in scene.lines if line.name == name)
    c, s = line.normal
    half = scene.basin.half_width_mm

    def end(y: float) -> tuple[float, float]:
        return round(float((line.place_mm + shift_mm - s * y) / c), 4), round(y, 4)

    return Line(name=name, role=line.role, a_mm=end(-half), b_mm=end(half), u_mm=scene.tier.u_line_mm)  # type: ignore[arg-type]


def _camera(scene: Scene, rng: np.random.Generator) -> CameraSetup:
    delay_s = scene.shutter.delay_ns / 1e9 + _off(rng, scene, scene.tier.u_delay_s)
    return CameraSetup(
        driver=_driver(scene, "simulated_camera"),
        calibration=CAMERA_FILE, delay_s=round(delay_s, 7), u_delay_s=scene.tier.u_delay_s,
        line_ns=scene.shutter.line_ns, exposure_ns=scene.shutter.exposure_ns,
    )  # fmt: skip


def card(scene: Scene) -> RunCard:
    """The card of the run: the boat as ruler and scale say it is."""
    return RunCard(
        id=f"simulated-{scene.tier_name}-{scene.kind}-{scene.seed}",
        kind=scene.kind,  # type: ignore[arg-type]
        recorded_at="2026-01-01T09:00:00+00:00",
        boat=_boat(scene),
        conditions=Conditions(power="fan", fan_distance_mm=400.0, fan_setting="2", notes="simulated"),
        rules=Rules(stop_speed_mm_per_s=STOP_SPEED_MM_PER_S, stop_for_s=STOP_FOR_S, wall_margin_mm=WALL_MARGIN_MM),
        clock_set_by="simulated",
        software=f"boatrun {__version__} simulator",
        simulated=True,
    )


def _boat(scene: Scene) -> Boat:
    rng = stream(scene.seed, "ruler")
    deck = scene.hull.deck_mm

    def read(true_mm: float) -> float:
        error = float(rng.uniform(-RULER_MM, RULER_MM))
        return round(true_mm + (error if scene.wishes.rig_errors else 0.0), 3)

    u_mm = round(RULER_MM / math.sqrt(3), 3)
    return Boat(
        name=f"{scene.paint} {scene.seed % 1000}", team="simulated", colour=scene.paint,
        length_mm=read(float(np.ptp(deck[:, 0]))), u_length_mm=u_mm,
        width_mm=read(float(np.ptp(deck[:, 1]))), u_width_mm=u_mm,
        freeboard_mm=read(scene.hull.freeboard_mm), u_freeboard_mm=u_mm,
        mass_g=float(round(scene.mass_g)), u_mass_g=0.29,
        mast_height_mm=None if scene.sail is None else read(scene.sail.top_mm), tag=_tag(scene),
    )  # fmt: skip


def _tag(scene: Scene) -> Tag | None:
    """The tag as calliper and ruler say it is. Nobody measures how far aside it sits: the card only says how well."""
    true = scene.tag
    if true is None:
        return None
    rng = stream(scene.seed, "tag ruler")

    def read(true_mm: float, within_mm: float) -> float:
        error = float(rng.uniform(-within_mm, within_mm))
        return round(true_mm + (error if scene.wishes.rig_errors else 0.0), 3)

    height_mm, ahead_mm = read(true.height_mm, RULER_MM), read(true.bow_ahead_mm, BOW_RULER_MM)
    return Tag(
        kind=true.kind, number=true.number, size_mm=read(true.size_mm, SIZE_MM),
        u_size_mm=round(SIZE_MM / math.sqrt(3), 3), height_mm=max(0.0, height_mm),
        u_height_mm=round(RULER_MM / math.sqrt(3), 3), bow_ahead_mm=ahead_mm,
        u_bow_ahead_mm=round(BOW_RULER_MM / math.sqrt(3), 3),
        left_mm=0.0 if scene.wishes.rig_errors else round(true.left_mm, 3), u_left_mm=1.0,
        u_turn_deg=round(TURN_DEG / math.sqrt(3), 3),
    )  # fmt: skip


def camera_table(scene: Scene) -> dict[str, Any]:
    """The camera file: the true camera, or one that is off within the uncertainties it states."""
    eye, (fx_px, fy_px) = scene.eye, (scene.eye.f_px, scene.eye.f_px)
    if scene.wishes.camera_errors:
        eye, (fx_px, fy_px) = _misjudged(scene)
    k1, k2, k3 = eye.radial
    p1, p2 = eye.tangential
    lens: dict[str, Any] = {
        "width_px": eye.width_px, "height_px": eye.height_px, "fx_px": fx_px, "fy_px": fy_px,
        "cx_px": eye.cx_px, "cy_px": eye.cy_px, "k1": k1, "k2": k2, "p1": p1, "p2": p2, "k3": k3,
    }  # fmt: skip
    pose: dict[str, Any] = {"rotation": eye.rotation.tolist(), "translation_mm": eye.translation_mm.tolist()}
    if scene.wishes.camera_errors:
        lens |= {"u_fx_px": U_FOCAL * eye.f_px, "u_fy_px": U_FOCAL * eye.f_px}
        pose |= {"u_tilt_deg": U_TILT_DEG, "u_camera_place_mm": U_PLACE_MM, "u_camera_height_mm": U_HEIGHT_MM}
    identity = f"simulated camera {scene.tank_seed}"
    return {"format": "boatrun-camera/1", "id": identity, "notes": "simulated", "lens": lens, "pose": pose}


def _misjudged(scene: Scene) -> tuple[Eye, tuple[float, float]]:
    """The camera as a good calibration finds it, and its two focal lengths."""
    rng = stream(scene.tank_seed, "calibration")
    turn = np.radians(rng.normal(0, U_TILT_DEG, 2))
    small = np.array([[1, 0, turn[1]], [0, 1, -turn[0]], [-turn[1], turn[0], 1]])
    left, _, right = np.linalg.svd(scene.eye.rotation @ small)
    shift = rng.normal(0, [U_PLACE_MM, U_PLACE_MM, U_HEIGHT_MM])
    fx_px, fy_px = (scene.eye.f_px * (1 + rng.normal(0, U_FOCAL, 2))).tolist()
    return replace(scene.eye, rotation=left @ right, place_mm=scene.eye.place_mm + shift), (fx_px, fy_px)
