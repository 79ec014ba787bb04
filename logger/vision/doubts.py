"""How far a track may be off: what is the same in all its fixes, and what makes it doubtful altogether."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from logger.vision import outline
from logger.vision.card import Card
from logger.vision.learning import Learnt
from logger.vision.plane import Plane
from logger.vision.sides import pulled
from logger.vision.survey import Survey

Floats = NDArray[np.float64]

_CLEAR_GREY = 30.0
"""Contrast, picture numbers, from which edges are as good as they get."""
_CALM_NOISE = 2.5
"""Noise of a sample, light of 255, up to which water is calm."""
_TOO_FAINT_GREY = 8.0
"""Contrast below which a boat is not told from water with certainty."""
_USUAL_MISFIT = 1.3
"""Residual over noise up to which a boat is of one look."""
_ANOTHER, _ANOTHER_MM = 0.35, 20.0
"""What differs from the card by so much, as a share and at least by so many mm, is another thing."""
_FASTEST_MM_PER_S = 3000.0
_LIVELY_MM_PER_S2, _LOOSE_MM, _REMEMBERED_S = 5000.0, 4.0, 0.4
"""How quickly a boat gains or loses speed, how far its fixes scatter at most, and for how long its course holds."""
_ANYWHERE_MM = 80.0
"""A course that leaves so much room says nothing of where the boat is: many pictures were lost."""
_U_REACH_PX, _U_COLOUR_PX = 0.1, 0.6
"""How far the outline may reach too far or not far enough on all sides alike, pixels; the same in one colour alone."""
_U_TIP_PX, _SMOOTH_NOISE = 0.15, 1.5
"""The same where the sides of a pointed bow, drawn on, meet, up to that noise (light of 255); above it more."""
_U_WALL_LIGHT_MM = 6.0
"""The same for a wall that hardly differs from the water, mm times light of 255, and at most this many mm:"""
_U_WALL_MOST_MM = 1.2
_UNEVEN, _DIM = 0.25, 0.55
"""A boat shines like its surroundings (foil) if its deck's light spreads along the edge by more than this share of
the contrast, and the contrast is less than this share of the water's light."""
_U_SHINING_PX = 2.0
_U_CRINKLED_PX, _U_CRINKLED_TIP_PX = 1.3, 3.0
"""The same for an edge, and a pointed bow, at which crinkles begin: they are gathered from so far around."""
_OFF_CARD_BY_CRINKLES = 0.12
"""Crinkles whose length and width are together so far from the card's, as shares, may be the water's."""
_LEANING = 0.08
"""A taper so far from the usual is none of a boat."""
_DARK_SHADOW, _LIKE_ITS_SHADOW, _U_LIKE_ITS_SHADOW_PX = 0.05, 0.13, 1.0
"""A shadow that takes this share of the water's light is one. Where the deck gives back so nearly the same light as
water in it, an edge between the two is not seen: then the outline is misread by so much (simulated runs)."""
_CONTRADICTED, _MATTERS_MM = 3.0, 2.0
"""How many of its standard uncertainties the card's freeboard may be off, and by how much that may move a fix, before
something is wrong."""
_U_EDGE_PX = 0.12
"""How far an edge may be misread in all pictures alike, pixels."""
_U_FREEBOARD_MM = 0.3
"""How well a freeboard can be learnt at best."""


def u_outline(learnt: Learnt, plane: Plane, card: Card) -> float:
    """Standard uncertainty, mm, of how far the waterline reaches: from the taper and from reading the edges.

    Args:
        learnt: the boat's look.
        plane: on which it was learnt.
        card: what was known beforehand.
    """
    step = plane.step_mm(plane.foot_mm)
    longest = max(outline.extents(learnt.hull.edge_mm)) / 2
    wall = float(np.median(np.abs(learnt.hull.wall - learnt.water)))
    by_wall = min(_U_WALL_MOST_MM, _U_WALL_LIGHT_MM / max(wall, 1.0))
    read_px = _U_COLOUR_PX if learnt.is_by_colour else _U_REACH_PX
    parts = [longest * learnt.u_taper, read_px * step, by_wall, 0.5 * _beyond_card(learnt, card)[0]]
    if learnt.hull.is_tip().any():
        parts.append(_U_TIP_PX * step * max(1.0, learnt.hull.typical_noise() / _SMOOTH_NOISE))
    if shines(learnt):
        parts.append(_U_SHINING_PX * step)
    if is_like_its_shadow(learnt):
        parts.append(_U_LIKE_ITS_SHADOW_PX * step)
    if learnt.is_by_crinkles:
        parts.append((_U_CRINKLED_TIP_PX if learnt.hull.is_tip().any() else _U_CRINKLED_PX) * step)
    return float(np.linalg.norm(parts))


def is_dim(learnt: Learnt) -> bool:
    """Whether the deck's light differs little from the water's."""
    return bool(abs(np.median(_contrast(learnt))) < _DIM * np.median(learnt.water))


def shines(learnt: Learnt) -> bool:
    """Whether the deck is of uneven light and in places as bright as the water: an edge there shows nothing.

    A shadow makes the water uneven, which says nothing of the deck.
    """
    low, high = np.percentile(learnt.hull.deck[:, -1], [10, 90])
    is_uneven = bool((high - low) / 2.56 > _UNEVEN * abs(np.median(_contrast(learnt))))
    return learnt.is_crinkled or (is_dim(learnt) and is_uneven)


def is_like_its_shadow(learnt: Learnt) -> bool:
    """Whether the deck has the light that its shadow leaves of the water: beside it the deck's edge is not seen."""
    darkness, open_water = learnt.hull.shadow.darkness, float(np.percentile(learnt.water, 90))
    deck = float(np.median(learnt.hull.deck[:, -1]))
    return darkness > _DARK_SHADOW and abs(deck / max(open_water, 1.0) - (1 - darkness)) < _LIKE_ITS_SHADOW


def _contrast(learnt: Learnt) -> Floats:
    """(M,) light of the deck's edge less that of the water."""
    return learnt.hull.deck[:, -1] - learnt.water


def u_freeboard(learnt: Learnt, card: Card) -> float:
    """Standard uncertainty, mm, of the freeboard that was used."""
    return float(min(np.hypot(learnt.u_freeboard_mm, _U_FREEBOARD_MM), card.u_freeboard_mm))


def _sides(learnt: Learnt, card: Card) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two independent ways, of one standard uncertainty each, in which freeboard (mm) and taper may be off."""
    u = u_freeboard(learnt, card)
    with_it = float(learnt.sides_covariance[0, 1]) / learnt.u_freeboard_mm * (u / learnt.u_freeboard_mm)
    alone = learnt.u_taper**2 - learnt.sides_covariance[0, 1] ** 2 / learnt.u_freeboard_mm**2
    return (u, with_it), (0.0, float(np.sqrt(max(alone, 0.0))))


def shifts(
    plane: Plane, card: Card, learnt: Learnt, *, contrast: float, seen: Floats, heading_rad: Floats, place_mm: Floats
) -> dict[str, Floats]:
    """By how much all fixes (N, 2) move if one lasting source is off by one standard uncertainty.

    Args:
        plane: on which the boat was read.
        card: what was known beforehand.
        learnt: the hull, with the freeboard that was used.
        contrast: between boat and water, picture numbers.
        seen: (N, 2) places on `plane`.
        heading_rad: (N,).
        place_mm: (N, 2) the same on the water.
    """
    freeboard = learnt.hull.freeboard_mm
    along, across = _u_edges(plane, card, learnt, contrast)
    by_freeboard, by_taper = pulled(learnt.hull, learnt.water, plane, place_mm=seen, heading_rad=heading_rad)

    def with_sides(higher_mm: float, narrower: float) -> Floats:
        truly = seen - by_freeboard * higher_mm - by_taper * narrower
        return plane.lowered(truly, freeboard + higher_mm) - place_mm

    own, others = _sides(learnt, card)
    moved = {
        "freeboard": with_sides(*own),
        "flare of the sides": with_sides(*others),
        "hull outline, along": along * np.column_stack([np.cos(heading_rad), np.sin(heading_rad)]),
        "hull outline, across": across * np.column_stack([-np.sin(heading_rad), np.cos(heading_rad)]),
    }
    pixels = plane.pixels(seen)
    for name, view in plane.view.varied().items():
        moved[name] = view.to_plane(pixels, z_mm=freeboard) - place_mm
    return moved


def _u_edges(plane: Plane, card: Card, learnt: Learnt, contrast: float) -> tuple[float, float]:
    """Standard uncertainty, mm, of the outline's middle along and across the boat.

    More where the boat is faint or has not one look everywhere (foil), and where the outline is not of the size on the
    card: some edge of it is then wrong.
    """
    step = plane.step_mm(plane.foot_mm)
    read = _U_EDGE_PX * step * max(1.0, _CLEAR_GREY / max(contrast, 1.0)) * (2.0 if learnt.is_by_colour else 1.0)
    read *= max(1.0, float(np.median(learnt.misfit)) / _USUAL_MISFIT) ** 3
    read *= max(1.0, learnt.hull.typical_noise() / _CALM_NOISE)
    if shines(learnt):
        read = float(np.hypot(read, _U_SHINING_PX * step))
    if learnt.is_by_crinkles:
        read = float(np.hypot(read, _U_CRINKLED_PX * step))
    if is_like_its_shadow(learnt):
        read = float(np.hypot(read, _U_LIKE_ITS_SHADOW_PX * step))
    excess = _beyond_card(learnt, card)
    return float(np.hypot(read, 0.4 * excess[0])), float(np.hypot(read, 0.4 * excess[1]))


def _beyond_card(learnt: Learnt, card: Card) -> tuple[float, float]:
    """By how much more than the card's doubt the outline is longer or shorter, and wider or narrower, mm."""
    size = outline.extents(learnt.hull.outline())
    told = ((card.length_mm, card.u_length_mm), (card.width_mm, card.u_width_mm))
    length, width = (
        0.0 if value is None else max(0.0, abs(seen - value) - 2 * u)
        for seen, (value, u) in zip(size, told, strict=True)
    )
    return length, width


def leaps(t_ns: NDArray[np.int64], place: Floats) -> NDArray[np.bool_]:
    """(N,) fixes on either side of a step that no boat makes."""
    step = np.hypot(*np.diff(place, axis=0).T) / (np.diff(t_ns) / 1e9) > _FASTEST_MM_PER_S
    return np.asarray(np.append(step, False) | np.append(False, step), np.bool_)


def strays(t_ns: NDArray[np.int64], place_mm: Floats) -> NDArray[np.bool_]:
    """(N,) fixes that agree neither with where the boat comes from nor with where it goes.

    A boat that is stopped by a wall or pushed by a hand breaks with one of the two. The first and the last fix have
    only one side to agree with.
    """
    if len(t_ns) < 4:
        return np.zeros(len(t_ns), np.bool_)
    t_s = (t_ns - t_ns[0]) / 1e9
    before = _breaks(t_s, place_mm)
    after = _breaks(-t_s[::-1], place_mm[::-1])[::-1]
    breaks = np.where(np.isnan(before), after, np.where(np.isnan(after), before, before * after))
    return np.asarray(breaks == 1)


def _breaks(t_s: Floats, place_mm: Floats) -> Floats:
    """(N,) 1 where a place is not where the two before it lead to, 0 where it is, NaN where nothing leads there."""
    step, speed = np.diff(t_s), np.diff(place_mm, axis=0) / np.diff(t_s)[:, None]
    off = np.hypot(*(place_mm[2:] - place_mm[1:-1] - speed[:-1] * step[1:, None]).T)
    room = _LIVELY_MM_PER_S2 * step[1:] * (step[1:] + step[:-1]) / 2 + _LOOSE_MM * (1 + step[1:] / step[:-1])
    leads = (step[1:] + step[:-1] < _REMEMBERED_S) & (room < _ANYWHERE_MM)
    return np.concatenate([[np.nan, np.nan], np.where(leads, off > room, np.nan)])


def another(card: Card, learnt: Learnt) -> str | None:
    """Why what was learnt is not the boat on the card but another thing, as a sentence; None: it may be."""
    length, width = outline.extents(learnt.hull.outline())
    for what, seen, told in (("length", length, card.length_mm), ("width", width, card.width_mm)):
        if told is not None and abs(seen - told) > max(_ANOTHER_MM, _ANOTHER * told):
            return f"what moves there has a {what} of {seen:.0f} mm, the boat card says {told:.0f} mm"
    return None


def flags(card: Card, learnt: Learnt, plane: Plane, found: Survey) -> tuple[str, ...]:
    """Doubts about the whole track: any of them makes all of it doubtful."""
    found_flags, hull = [], learnt.hull
    if shines(learnt):
        found_flags.append("the boat is of uneven light, in places like the floor: its edge is not seen all round")
    wrong_mm = abs(hull.freeboard_mm - card.freeboard_mm)
    farthest = float(np.hypot(*(learnt.place_mm - plane.foot_mm).T).max()) / plane.height_mm
    if wrong_mm > _CONTRADICTED * card.u_freeboard_mm and wrong_mm * farthest > _MATTERS_MM:
        found_flags.append(
            f"its sides look {hull.freeboard_mm:.0f} mm high, the boat card says {card.freeboard_mm:.0f} mm"
        )
    if abs(hull.taper - hull.freeboard_mm / plane.height_mm) > _LEANING:
        found_flags.append("its sides look as if they leaned more than those of a boat")
    if found.contrast < _TOO_FAINT_GREY:
        found_flags.append(f"the boat stands out from the floor by only {found.contrast:.0f} of 255 grey levels")
    length, width = outline.extents(hull.outline())
    off = sum(abs(seen / told - 1) for seen, told in ((length, card.length_mm), (width, card.width_mm)) if told)
    if learnt.is_by_crinkles and off > _OFF_CARD_BY_CRINKLES:
        found_flags.append("the boat was told from the floor by its crinkles alone, and they are not of its size")
    for what, seen, told in (("length", length, card.length_mm), ("width", width, card.width_mm)):
        if told is not None and abs(seen - told) > max(8.0, 0.08 * told):
            found_flags.append(f"the outline's {what} is {seen:.0f} mm, the boat card says {told:.0f} mm")
    return tuple(found_flags)
