"""Something touched the boat: its speed changed in a moment, and just then a thing reached from afar to its hull.

Neither alone is enough. A straw that follows a boat seems to lie over it if the camera looks from the side, and a boat
that meets a wall changes its speed with nobody near. So first the pushes are looked for in the places of the whole run
(pushes.py); only there some pictures are looked at again, laid over each other as the boat lies (surroundings.py). What
all of them show beside the hull during the push, and others a second before did not, is a thing that came. It touches
if it is in one piece

- from the hull's side
- to far beyond it, or to the tank's rim: an arm, or a straw in a hand; no sail that swings, no ripple, no wake,
- without lying all around the hull, as a shadow does that runs by.

What cannot be told in this way stays untold: a touch under a sail, one that did not change the speed, one at a wall or
at a boat that was not seen for some tenths of a second before and after, one by a straw of the water's own colour and
light, and one by a hand that was at the hull for a second before. For this last reason the hand that holds a boat
until it is let go is not told: it is there before.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background
from logger.vision.background import Mask
from logger.vision.plane import Plane, Singles
from logger.vision.touch.pushes import Push, pushes
from logger.vision.touch.surroundings import Colours, Course, Surroundings
from logger.vision.track import MEASURED, Touch, Track

Floats = NDArray[np.float64]

_FAR_MM, _RIM_MM = 100.0, 40.0
"""What reaches so far from the hull comes from elsewhere; to the tank's rim, or the picture's, it may be less."""
_SIDE_MM, _AT_SIDE_MM = 4.0, 7.0
"""The hull's own edge moves by so much with its misfit; what comes nearer than this reaches the hull."""
_SURROUNDED = 0.5
"""A thing beside so much of the hull's edge is a shadow, or worse."""
_BEFORE_S = (1.1, 0.4)
"""When before a push nothing must have been there."""
_MOST_COUNT, _LEAST_COUNT = 8, 2
"""How many pictures are laid over each other."""
_ODD_OF = 4
"""Of so many pictures of a touch one may show something else."""
_MOST_PUSHES = 8
_FEWEST_COUNT = 20
_ALIKE, _MANY = 0.5, 4
"""Of more pushes than this, each half as clear or clearer, none is told."""
_ECHO_S = 0.6
"""A push makes the places before and after look a little as if there were others."""
_NOISES, _LEAST_CHANGE = 4.0, 0.06
"""How much a thing differs from the water: in noises, and as a share of the water's light."""
_THIN_MM = 12.0
"""A straw is looked for beside ripples that are wider than this."""
_OTHER = 0.5
"""A thing that came changes by this share of what was there before (a sail, a shadow); and it is no water now."""
_NEARLY_MM = 6.0
"""What lay so near before may have been the same thing."""
_WALL_MM = 20.0
"""So near a wall it may be the wall that changes a boat's speed."""
_NEXT = np.ones((3, 3), np.uint8)


def touches(track: Track, film: Colours, *, deck: Plane, tank_mm: Floats, outline_mm: Floats) -> tuple[Touch, ...]:
    """All touches that are plain, in order of time. What is doubtful of the track is left out.

    Args:
        track: where the boat was seen.
        film: the pictures in colour.
        deck: the plane of its deck's edge.
        tank_mm: (K, 2) the tank's corners.
        outline_mm: (M, 2) the deck's edge, boat frame.
    """
    is_sure = track.quality == MEASURED
    if np.count_nonzero(is_sure) < _FEWEST_COUNT:
        return ()
    first_ns = int(track.t_ns[is_sure][0])
    place = np.column_stack([track.x_mm, track.y_mm])[is_sure]
    t_s = (track.t_ns[is_sure] - first_ns) / 1e9
    course = Course(track.frame[is_sure], t_s, place, track.heading_rad[is_sure], outline_mm)
    found = sorted(pushes(t_s, place), key=lambda push: -push.clearness)[:_MOST_PUSHES]
    found = [push for push in found if not _is_at_wall(tank_mm, course, push) and not _is_restless(found, push)]
    if not found:
        return ()
    around = Surroundings(film, deck, tank_mm, course)
    told: list[Push] = []
    for push in found:
        is_echo = any(push.from_s < other.to_s + _ECHO_S and push.to_s > other.from_s - _ECHO_S for other in told)
        if not is_echo and _is_touched(around, t_s, push):
            told.append(push)
    return tuple(_touch(push, first_ns) for push in sorted(told, key=lambda push: push.from_s))


def _touch(push: Push, first_ns: int) -> Touch:
    from_ns, to_ns = (first_ns + round(1e9 * s) for s in (push.from_s, push.to_s))
    return Touch(from_ns, to_ns, float(np.hypot(*push.change_mm_per_s)))


def _is_restless(found: Sequence[Push], push: Push) -> bool:
    """Whether it is one of many such: then that is how the thing moves that was followed, be it a boat or a hand."""
    return sum(other.clearness > _ALIKE * push.clearness for other in found) > _MANY


def _is_at_wall(tank_mm: Floats, course: Course, push: Push) -> bool:
    hull = course.hull(int(np.abs(course.t_s - push.to_s).argmin()))
    tank = tank_mm.astype(np.float32)
    return any(cv2.pointPolygonTest(tank, (float(x), float(y)), True) < _WALL_MM for x, y in hull)


def _is_touched(around: Surroundings, t_s: Floats, push: Push) -> bool:
    before = _some(np.flatnonzero((t_s > push.from_s - _BEFORE_S[0]) & (t_s < push.from_s - _BEFORE_S[1])))
    during = _some(np.flatnonzero((t_s >= push.from_s) & (t_s <= push.to_s)))
    if len(during) < _LEAST_COUNT:
        during = np.sort(np.abs(t_s - (push.from_s + push.to_s) / 2).argsort()[:_LEAST_COUNT])
    if len(before) < _LEAST_COUNT:
        return False
    away_mm = around.away_mm(int(during[len(during) // 2]))
    now = around.seen(during)
    if len(now) < _LEAST_COUNT or not may_be_reached(shown := lasting(now), away_mm):
        return False
    earlier = around.seen(before)
    return len(earlier) >= _LEAST_COUNT and is_reached(shown, _middle(earlier), away_mm, around.step_mm)


def _some(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """At most so many of them, evenly."""
    at = np.linspace(0, len(rows) - 1, min(_MOST_COUNT, len(rows))).astype(int)
    return np.asarray(rows[at], np.int64)


def lasting(pictures: list[Singles]) -> Singles:
    """What nearly all of them show of each point: the least if they are brighter than water, 0 if some are darker.

    A glint comes and goes, ripples run; an arm stays. NaN where one of them shows nothing.
    """
    odd = len(pictures) // _ODD_OF
    ordered = background.sorted_rows(pictures)
    low, high = ordered[odd], ordered[-1 - odd]
    steady = np.where(low > 0, low, np.where(high < 0, high, np.float32(0)))
    return np.where(_all_known(pictures), steady, np.float32(np.nan))


def _middle(pictures: list[Singles]) -> Singles:
    """Their median, NaN where one of them shows nothing."""
    return np.where(_all_known(pictures), background.median(pictures), np.float32(np.nan))


def _all_known(pictures: list[Singles]) -> Mask:
    known: Mask = np.isfinite(pictures[0])
    for picture in pictures[1:]:
        known = known & np.isfinite(picture)
    return known


def may_be_reached(now: Singles, away_mm: Singles) -> bool:
    """Whether anything reaches the hull's side from a little afar: a look that needs no earlier pictures."""
    differs = np.zeros(away_mm.shape, bool)
    for channel in range(now.shape[-1]):
        differs |= np.abs(_smoothed(now[..., channel])) > _LEAST_CHANGE
    _, labels = cv2.connectedComponents((differs & (away_mm > _SIDE_MM)).astype(np.uint8))
    at_side, afar = labels[away_mm <= _AT_SIDE_MM], labels[away_mm > min(_FAR_MM, _RIM_MM)]
    return bool(np.intersect1d(at_side[at_side > 0], afar[afar > 0]).size)


def is_reached(now: Singles, earlier: Singles, away_mm: Singles, step_mm: float) -> bool:
    """Whether a thing that was not there `earlier` reaches the hull's side from afar.

    Args:
        now: (H, W, C) by what share light of C colours differs from the water's; NaN where there is none.
        earlier: the same some time before.
        away_mm: (H, W) how far each point is from the hull; 0 on it.
        step_mm: from one point to the next.
    """
    is_known = np.isfinite(now).all(axis=-1) & np.isfinite(earlier).all(axis=-1)
    is_water = (away_mm > _SIDE_MM) & is_known
    if not is_water.any():
        return False
    is_new = np.zeros(away_mm.shape, bool)
    for channel in range(now.shape[-1]):
        lay = np.where(away_mm > 2 * step_mm, earlier[..., channel], 0)  # the hull itself is no thing that lay there
        is_new |= _new(_smoothed(now[..., channel]), _smoothed(lay), is_water, step_mm)
    count, labels = cv2.connectedComponents(is_new.astype(np.uint8))
    rim = cv2.dilate((~is_known & (away_mm > 0)).astype(np.uint8), _NEXT).astype(bool)
    return any(_is_arm(labels == k, rim, away_mm) for k in range(1, count))


def _new(seen: Singles, before: Singles, is_water: Mask, step_mm: float) -> Mask:
    """What is not water, and was not there before."""
    change = seen - before
    wide = cv2.GaussianBlur(change * is_water, (0, 0), _THIN_MM / step_mm)
    share = cv2.GaussianBlur(is_water.astype(np.float32), (0, 0), _THIN_MM / step_mm)
    thin = np.asarray(change - wide / np.maximum(share, 0.1), np.float32)
    stands_out = _stands_out(change, is_water) | (_stands_out(thin, is_water) & (thin * seen > 0))
    is_bright = np.asarray(seen > 0, np.float32) * 2 - 1
    brush = np.ones((2 * round(_NEARLY_MM / step_mm) + 1,) * 2, np.uint8)
    nearby = np.where(is_bright > 0, cv2.dilate(before, brush), cv2.erode(before, brush))
    is_other = is_bright * (seen - nearby) > _OTHER * np.maximum(np.abs(nearby), np.abs(before))
    is_other &= np.abs(seen) > np.maximum(_OTHER * np.abs(change), _LEAST_CHANGE)
    return np.asarray(stands_out & is_water & is_other, np.bool_)


def _stands_out(change: Singles, is_water: Mask) -> Mask:
    water = change[is_water]
    noise = 1.4826 * float(np.median(np.abs(water - np.median(water))))
    return np.asarray(np.abs(change) > max(_NOISES * noise, _LEAST_CHANGE), np.bool_)


def _smoothed(share: Singles) -> Singles:
    return np.asarray(cv2.blur(np.nan_to_num(share), (3, 3)), np.float32)


def _is_arm(piece: Mask, rim: Mask, away_mm: Singles) -> bool:
    away = away_mm[piece]
    if away.min() > _AT_SIDE_MM:
        return False
    is_from_afar = away.max() > _FAR_MM or bool((piece & rim & (away_mm > _RIM_MM)).any())
    side = (away_mm > _SIDE_MM) & (away_mm < 3 * _AT_SIDE_MM)
    return is_from_afar and bool(np.count_nonzero(piece & side) < _SURROUNDED * np.count_nonzero(side))
