"""The whole measurement of one boat over a stored video.

A recipe: survey a few pictures, learn the boat's look from them, lay that look over every picture, put the result down
with its doubt.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.waterplane import WATER_INDEX
from logger.config import Boat, Line, Rig, Tank
from logger.recording.folder import Recording
from logger.vision import outline
from logger.vision.background import Grey
from logger.vision.fit import Fit
from logger.vision.hull import Hull
from logger.vision.learning import Card, Learnt, learn
from logger.vision.plane import Plane
from logger.vision.pursuit import pursue
from logger.vision.survey import SHRINK, Ground, Survey, survey
from logger.vision.track import DOUBTFUL, MEASURED, NotFound, Track

Floats = NDArray[np.float64]

_FREEBOARD_UNKNOWN_MM = (15.0, 9.0)
"""What is taken for a boat whose freeboard was not measured, and its standard uncertainty: anything up to 30 mm."""
_ZONE_MARGIN_MM = 30.0
_LEAST_GOOD_SHARE = 0.5
"""Ripples and glints too can be followed for a while; but they do not keep their look."""
FAINT_GREY = 30.0
"""Contrast, in picture numbers, below which colour is tried."""
_TOO_FAINT_GREY = 12.0
"""Contrast below which a boat is not told from water with certainty."""
_CLEARLY = 1.3
_WITNESS = 3.5
_FASTEST_MM_PER_S = 3000.0
_U_EDGE_PX = 0.1
"""How far an edge may be misread in all pictures alike, pixels."""


def track_boat(recording: Recording, rig: Rig) -> Track | NotFound:
    """One boat's waterline centroid, heading and outline in every frame that shows it.

    Args:
        recording: with video, stamps and a calibrated view; its card says what boat it is.
        rig: tank, start line and the camera's delay.
    """
    if recording.video is None or recording.stamps is None or recording.view is None:
        return NotFound("the recording has no video with time stamps and a calibrated camera")
    card = boat_card(recording.card.boat)
    plane = Plane(recording.view, card.freeboard_mm)
    film = _Stored(recording)
    known = ground(rig, plane, recording.card.boat)
    found = survey(film, plane, known)
    if isinstance(found, str) or found.contrast < FAINT_GREY:
        film, found = _in_colour(recording, plane, known, otherwise=(film, found))
    if isinstance(found, str):
        return NotFound(found)
    learnt = learn(
        found.pictures,
        found.empty,
        plane,
        polygon_mm=found.polygon_mm,
        place_mm=found.place_mm,
        heading_rad=found.heading_rad,
        card=card,
        depth_share=depth_share(rig.tank, plane),
    )
    fits = pursue(film, plane, found, learnt, tank=known.tank)
    return _track(recording, rig, plane, card, learnt, found, fits)


def _in_colour(
    recording: Recording, plane: Plane, known: Ground, *, otherwise: tuple[_Stored, Survey | str]
) -> tuple[_Stored, Survey | str]:
    """The blue, green or red film in which the boat stands out most, if it does so clearly more than in grey.

    A yellow boat may be as bright as the floor and yet be plain to see in blue. Colour costs time, so grey comes first.
    """
    best = otherwise
    for channel in range(3):
        film = _Stored(recording, channel)
        found = survey(film, plane, known)
        if isinstance(found, Survey) and found.contrast > _CLEARLY * _contrast(best[1]):
            best = film, found
    return best


def _contrast(found: Survey | str) -> float:
    return 0.0 if isinstance(found, str) else found.contrast


class _Stored:
    """The film of a recording: its brightness, or one of its colours."""

    def __init__(self, recording: Recording, channel: int | None = None) -> None:
        self._recording, self._channel = recording, channel

    @property
    def count(self) -> int:
        stamps = self._recording.stamps
        return 0 if stamps is None else len(stamps.t_ns)

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterable[tuple[int, Grey]]:
        chosen = None if wanted is None else frozenset(wanted)
        for frame in self._recording.frames(grey=self._channel is None, wanted=chosen):
            whole = self._channel is None
            yield frame.sequence, frame.image if whole else np.ascontiguousarray(frame.image[..., self._channel])


def boat_card(boat: Boat) -> Card:
    """What the card says for the fit; an unmeasured freeboard becomes a wide guess."""
    freeboard, u = boat.freeboard_mm, boat.u_freeboard_mm
    if freeboard is None:
        freeboard, u = _FREEBOARD_UNKNOWN_MM
    return Card(freeboard, u, boat.length_mm, boat.u_length_mm, boat.width_mm, boat.u_width_mm)


def ground(rig: Rig, plane: Plane, boat: Boat) -> Ground:
    """Small masks of the tank and of its start zone, and which way boats go."""
    lens = plane.view.lens
    rows, columns = lens.height_px // SHRINK, lens.width_px // SHRINK
    v, u = np.mgrid[:rows, :columns]
    pixels = np.column_stack([u.ravel(), v.ravel()]) * SHRINK + (SHRINK - 1) / 2
    points = plane.points(pixels)
    tank = _inside(points, np.array(rig.tank.outline_mm)).reshape(rows, columns)
    start = rig.line("start")
    zone, forward = None, 0.0
    if start is not None:
        normal = _forward(start, rig)
        forward = float(np.arctan2(normal[1], normal[0]))
        zone = ((points - start.a_mm) @ normal < _ZONE_MARGIN_MM).reshape(rows, columns)
    size = longest = None
    if boat.length_mm is not None and boat.width_mm is not None:
        size = float(np.sqrt(0.85 * boat.length_mm * boat.width_mm))
        longest = max(boat.length_mm, boat.width_mm)
    return Ground(tank, zone, forward, size, longest)


def depth_share(tank: Tank, plane: Plane) -> float:
    """How much of the way to the foot point things on the floor seem moved on `plane` (rays near the vertical)."""
    seeming = tank.water_depth_mm / WATER_INDEX
    return 1 - (1 - plane.z_mm / plane.height_mm) * plane.height_mm / (plane.height_mm + seeming)


def _inside(points: Floats, corners: Floats) -> NDArray[np.bool_]:
    """Which points (N, 2) lie within the polygon (crossing-number rule)."""
    inside = np.zeros(len(points), bool)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if a[1] == b[1]:
            continue
        crosses = (points[:, 1] > a[1]) != (points[:, 1] > b[1])
        inside ^= crosses & (points[:, 0] < a[0] + (points[:, 1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1]))
    return inside


def _forward(start: Line, rig: Rig) -> Floats:
    """Unit normal of the start line toward the finish, or toward +x."""
    a, b = np.array(start.a_mm), np.array(start.b_mm)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([along[1], -along[0]])
    goal = rig.line("finish") or rig.line("mark")
    ahead = (np.array(goal.a_mm) + goal.b_mm - a - b) / 2 if goal is not None else np.array([1.0, 0.0])
    return normal if normal @ ahead >= 0 else -normal


def _track(
    recording: Recording, rig: Rig, plane: Plane, card: Card, learnt: Learnt, found: Survey, fits: dict[int, Fit]
) -> Track | NotFound:
    stamps = recording.stamps
    held = {n: f for n, f in fits.items() if f.strength > 0.4}
    if stamps is None or len(held) < 3:
        return NotFound("the boat's look was learnt, but it is not found again in the pictures")
    if (good := sum(f.good for f in held.values())) < _LEAST_GOOD_SHARE * len(held):
        return NotFound(f"what was followed looks like one boat in {good} of {len(held)} pictures only")
    numbers = np.array(sorted(held), np.int64)
    kept = [held[n] for n in numbers]
    seen = np.array([f.place_mm for f in kept])
    heading = np.array([f.heading_rad for f in kept])
    hull = learnt.hull
    place = plane.lowered(seen, hull.freeboard_mm)
    covariance = np.array([f.covariance for f in kept])
    t_ns = _times(recording, rig, plane, numbers, seen)
    flags = _flags(card, hull, plane, found)
    certain = np.array([f.good for f in kept]) & ~_leaps(t_ns, place) & (not flags)
    return Track(
        t_ns=t_ns,
        x_mm=place[:, 0],
        y_mm=place[:, 1],
        heading_rad=heading,
        noise_mm2=covariance[:, :2, :2],
        u_heading_rad=np.sqrt(covariance[:, 2, 2]),
        quality=np.where(certain, MEASURED, DOUBTFUL).astype(np.uint8),
        frame=numbers,
        outline_mm=waterline(hull, plane),
        u_outline_mm=_u_outline(learnt, plane),
        shifts_mm=_shifts(plane, card, learnt, seen, heading, place),
        frames_seen_count=len(stamps.t_ns),
        flags=flags,
    )


def _times(recording: Recording, rig: Rig, plane: Plane, numbers: NDArray[np.int64], seen: Floats) -> NDArray[np.int64]:
    """Mid-exposure at the boat's own row, less the camera's delay."""
    stamps = recording.stamps
    assert stamps is not None  # noqa: S101 - checked by the caller
    rows = plane.pixels(seen)[:, 1]
    delay_ns = 0 if rig.camera is None else round(rig.camera.delay_s * 1e9)
    late = rows * stamps.line_ns[numbers] + stamps.exposure_ns[numbers] / 2
    return stamps.t_ns[numbers] + np.round(late).astype(np.int64) - delay_ns


def waterline(hull: Hull, plane: Plane) -> Floats:
    """(M, 2) convex waterline outline, boat frame: the deck's, drawn in by the taper, at its true size."""
    deck = outline.convex(hull.outline())
    nearer = 1 - hull.freeboard_mm / plane.height_mm
    return deck * ((1 - hull.taper) / nearer)


def _u_outline(learnt: Learnt, plane: Plane) -> float:
    longest = max(outline.extents(learnt.hull.edge_mm)) / 2
    return float(np.hypot(longest * learnt.u_taper, 0.15 * plane.step_mm(plane.foot_mm)))


def u_freeboard(learnt: Learnt, card: Card) -> float:
    """The fit's own doubt counts noise only; how good walls and shadows are as witnesses was seen on simulated runs."""
    return float(min(np.hypot(_WITNESS * learnt.u_freeboard_mm, 0.2), card.u_freeboard_mm))


def _shifts(
    plane: Plane, card: Card, learnt: Learnt, seen: Floats, heading: Floats, place: Floats
) -> dict[str, Floats]:
    """By how much all fixes move if one lasting source is off by one standard uncertainty."""
    freeboard = learnt.hull.freeboard_mm
    edge = _U_EDGE_PX * plane.step_mm(plane.foot_mm)
    shifts = {
        "freeboard": plane.lowered(seen, freeboard + u_freeboard(learnt, card)) - place,
        "hull outline, along": edge * np.column_stack([np.cos(heading), np.sin(heading)]),
        "hull outline, across": edge * np.column_stack([-np.sin(heading), np.cos(heading)]),
    }
    pixels = plane.pixels(seen)
    for name, view in plane.view.varied().items():
        shifts[name] = view.to_plane(pixels, z_mm=freeboard) - place
    return shifts


def _leaps(t_ns: NDArray[np.int64], place: Floats) -> NDArray[np.bool_]:
    """(N,) fixes on either side of a step that no boat makes."""
    step = np.hypot(*np.diff(place, axis=0).T) / (np.diff(t_ns) / 1e9) > _FASTEST_MM_PER_S
    return np.asarray(np.append(step, False) | np.append(False, step), np.bool_)


def _flags(card: Card, hull: Hull, plane: Plane, found: Survey) -> tuple[str, ...]:
    """Doubts about the whole track: any of them makes all of it doubtful."""
    flags = []
    if found.contrast < _TOO_FAINT_GREY:
        flags.append(f"the boat stands out from the floor by only {found.contrast:.0f} of 255 grey levels")
    length, width = outline.extents(waterline(hull, plane))
    for what, seen, told in (("length", length, card.length_mm), ("width", width, card.width_mm)):
        if told is not None and abs(seen - told) > max(8.0, 0.08 * told):
            flags.append(f"the outline's {what} is {seen:.0f} mm, the boat card says {told:.0f} mm")
    return tuple(flags)
