"""What it does to a track that the camera was moved during the run: further doubt, and a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.vision.plane import Plane
from logger.vision.track import DOUBTFUL, Track
from logger.vision.watch.moves import Move
from logger.vision.watch.steadiness import Watch

Floats = NDArray[np.float64]

_U_PUT_BACK_PX = 0.04
"""How far pictures may be put back wrongly, all alike."""
_U_HEIGHT_MM = 40.0
"""Marks lie up to 70 mm above the water, as the rim: 70/√3. If the camera was shifted, and not turned, they moved by so
much over its height more than things on the water."""
_TELLING_PX = 0.3
_SAME_PX = 0.1
"""Answers so near to each other are one."""
_TELLING_COUNT = 3
"""A knock moves so many pictures by so much at least; less may be one picture's chance."""
_BRIDGED_COUNT = 45
"""Between two pictures in which the camera stood still, no farther apart than this, it stood still."""
_MOST_PX = 10.0
"""So far is a picture put back surely: lens and perspective are taken as straight."""
_LAST_COUNT = 10
_UNSEEN_SHARE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Knocks:
    """What the camera's moves mean for N fixes."""

    noise_mm2: Floats
    """(N, 2, 2) further covariance of each fix."""
    shift_mm: Floats | None
    """(N, 2) by how much all fixes move if pictures are put back wrongly by one standard uncertainty; None: never."""
    is_sure: NDArray[np.bool_]
    """(N,) whether the camera's move is known and small enough to be put right."""
    flags: tuple[str, ...]


def knocks(moves: Sequence[Move], plane: Plane, seen_mm: Floats) -> Knocks:
    """What the camera's `moves`, one for each fix in order of time, mean for fixes at `seen_mm` (N, 2) on the plane."""
    known = np.array([move.is_known for move in moves])
    still = np.array([move.is_still for move in moves])
    doubted = ~(still | _between(known, still))
    noise, aside_px, aside_mm = np.zeros((len(moves), 2, 2)), np.zeros((len(moves), 2)), np.zeros((len(moves), 2))
    if not doubted.any():
        return Knocks(noise, None, np.ones(len(moves), bool), ())
    pixels = plane.pixels(seen_mm)
    by_pixel = plane.view.plane_jacobian(pixels, z_mm=plane.z_mm)
    for n in np.flatnonzero(doubted).tolist():
        noise[n] = by_pixel[n] @ moves[n].covariance_at(pixels[n]) @ by_pixel[n].T
        aside_px[n] = moves[n].at(pixels[n])
        aside_mm[n] = by_pixel[n] @ aside_px[n]
    far_px, far_mm = np.hypot(*aside_px.T), np.hypot(*aside_mm.T)
    along = aside_mm / np.maximum(far_mm, 1e-9)[:, None]
    wrong_px = np.hypot(_U_PUT_BACK_PX * (far_px > 0), far_px * _U_HEIGHT_MM / plane.height_mm)
    shift = along * (wrong_px * plane.step_mm(plane.foot_mm))[:, None]
    if (apart_px := _contradiction(aside_px, known & doubted)).any():
        either = (by_pixel @ apart_px) * doubted[:, None]
        shift = np.where((np.hypot(*either.T) > np.hypot(*shift.T))[:, None], either, shift)
    flags = []
    if np.count_nonzero(known & (far_px > _TELLING_PX)) >= _TELLING_COUNT:
        flags.append(_told(far_mm[known], far_px[known]))
    lost = np.count_nonzero(~known & doubted)
    if lost > _UNSEEN_SHARE * len(moves):
        flags.append(f"whether the camera stood still could not be seen in {lost} of {len(moves)} pictures")
    return Knocks(noise, shift if far_px.any() else None, ~doubted | (known & (far_px < _MOST_PX)), tuple(flags))


def doubted(track: Track, watch: Watch | None, plane: Plane, seen_mm: Floats) -> Track:
    """The track with the doubt that the camera's moves bring; what was put right is none about the boat and stays.

    Args:
        track: of N fixes.
        watch: what saw its pictures; None: nobody could.
        plane: on which the boat was seen.
        seen_mm: (N, 2) where.
    """
    if watch is None:
        return track
    known = knocks([watch.move(int(n)) for n in track.frame], plane, seen_mm)
    moved = {} if known.shift_mm is None else {"camera moved during the run": known.shift_mm}
    return replace(
        track,
        noise_mm2=track.noise_mm2 + known.noise_mm2,
        quality=np.where(known.is_sure, track.quality, DOUBTFUL).astype(np.uint8),
        shifts_mm={**track.shifts_mm, **moved},
        flags=track.flags + known.flags,
    )


def _contradiction(aside_px: Floats, moved: NDArray[np.bool_]) -> Floats:
    """(2,) how far apart, at most, two answers are of how the camera stands; nought if there is but one.

    A picture whose answer is another than that of both its neighbours, which agree, contradicts them: no camera goes
    and comes back in so short a time. Which of them is right is not known.
    """
    before, here, after = aside_px[:-2], aside_px[1:-1], aside_px[2:]
    agree = np.hypot(*(after - before).T) < _SAME_PX
    apart = here - (before + after) / 2
    odd = agree & moved[:-2] & moved[1:-1] & moved[2:] & (np.hypot(*apart.T) > _TELLING_PX)
    most: Floats = apart[np.argmax(np.where(odd, np.hypot(*apart.T), 0.0))] if odd.any() else np.zeros(2)
    return most


def _told(far_mm: Floats, far_px: Floats) -> str:
    stayed_mm, stayed_px = float(np.median(far_mm[-_LAST_COUNT:])), float(np.median(far_px[-_LAST_COUNT:]))
    most = f"the camera was moved during the run, by up to {far_mm.max():.1f} mm on the water"
    if stayed_px < _TELLING_PX:
        return f"{most}, and came back; put right"
    return f"{most}, and stayed {stayed_mm:.1f} mm aside; put right in this run, calibrate again before the next"


def _between(known: NDArray[np.bool_], still: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(N,) pictures of which nothing is known, but soon before and after the camera stood still."""
    numbers = np.arange(len(known))
    told = np.flatnonzero(known)
    if not len(told):
        return np.zeros(len(known), bool)
    after = np.searchsorted(told, numbers)
    is_inner = (after > 0) & (after < len(told))
    first, last = told[np.clip(after - 1, 0, None)], told[np.clip(after, None, len(told) - 1)]
    bridged: NDArray[np.bool_] = ~known & is_inner & still[first] & still[last] & (last - first < _BRIDGED_COUNT)
    return bridged
