"""Where on the hull its tag sits, and how high, by least squares over the pictures in which both are seen.

In each picture the hull's centroid less the print's middle is one and the same arrow, turned with the boat. Print and
deck lie at different heights, neither of which is known well: an error of height moves a point toward the lens's foot
point or away from it, one way here and the other there. So the arrow and both heights are found together, with what
the card says of them entering with its own doubt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.config import Tag
from logger.vision import doubts, outline
from logger.vision.plane import Plane
from logger.vision.tag.hull import Around, Seen

Floats = NDArray[np.float64]

_SCATTER_MM, _TURN_RAD = 2.0, np.radians(2.5)
"""More scatter between tag and hull than this (median from median) is no measurement."""
_BESIDE_RAD = np.radians(12.0)
"""A hull that lies so far beside the tag's arrow is none."""
_LASTING = 0.5
"""Share of the scatter that may be the same in all pictures."""
_LEAST_ELONGATION = 1.15
"""A hull less long than this, over its width, has no axis."""
_LEAST_NOISE_MM = 0.1
_U_TURN_RAD = np.radians(0.1)
"""No outline's axis is known better."""
_CONTRADICTS = 3.0
"""The card is contradicted by so many standard uncertainties of the difference."""
_ROUNDS_COUNT = 5
_OPEN_MM = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """The hull as the tag sees it."""

    centroid_mm: tuple[float, float]
    """Of the waterline, in the boat's frame around the print's middle: forward, left."""
    turn_rad: float
    """From the tag's arrow anticlockwise to the bow; 0 where the outline has no long axis."""
    u_turn_rad: float | None
    """None: the outline does not tell which way it points."""
    height_mm: float
    """Of the print above the water."""
    freeboard_mm: float
    """Of the hull, as the two seen together have it."""
    covariance: Floats
    """(3, 3) of the height and the centroid forward and to the left, mm²: what is the same in all pictures."""
    scatter_mm: tuple[float, float]
    """Forward and across: how far print and hull disagree from picture to picture."""
    outline_mm: Floats
    """(M, 2) waterline in the boat's frame."""
    u_outline_mm: float
    flags: tuple[str, ...] = ()
    """What the card says otherwise."""
    around: Around | None = None
    """The hull, if it may be laid over other pictures."""


def seat(seen: Seen, around: Around, tag_plane: Plane, tag: Tag) -> Seat | str:
    """How the hull lies around the tag; a sentence if the two do not agree.

    Args:
        seen: the tag in the pictures that taught the hull, and others.
        around: the hull.
        tag_plane: on which the tag was seen.
        tag: what the card says.
    """
    learnt, deck, numbers = around.learnt, around.deck, around.found.numbers.tolist()
    waterline = learnt.hull.waterline(deck.height_mm)
    own = np.array([seen.heading_rad[n] for n in numbers])
    turn, u_turn = _turn(learnt.heading_rad - own, waterline)
    if u_turn is not None and (abs(turn) > _BESIDE_RAD or u_turn > _TURN_RAD):
        return "the outline does not lie along the tag's arrow"
    heading = own + turn
    if tag.kind == "disc" and u_turn is not None:
        heading, turn = learnt.heading_rad, 0.0  # a disc's arrow is only where it travels
    places = np.array([seen.place_mm[n] for n in numbers])
    solved = _Solved(around, tag_plane, tag, places, heading)
    scatter = solved.scatter_mm
    if scatter.max() > _SCATTER_MM:
        return f"the outline and the tag disagree by {scatter.max():.0f} mm from picture to picture"
    u_outline = doubts.u_outline(learnt, deck)
    flags = solved.told(float(waterline[:, 0].max()), u_outline)
    u = None if u_turn is None else float(max(u_turn / np.sqrt(len(numbers)), _U_TURN_RAD))
    if tag.kind == "square" and u is not None:
        by_card = np.radians(tag.u_turn_deg)
        if abs(turn) > _CONTRADICTS * np.hypot(by_card, u):
            flags.append(f"the tag's arrow points {abs(np.degrees(turn)):.1f}° beside the bow")
    return Seat(
        (float(solved.answer[1]), float(solved.answer[2])), turn, u, tag_plane.z_mm + float(solved.answer[0]),
        solved.freeboard_mm, solved.covariance, (float(scatter[0]), float(scatter[1])), waterline, u_outline,
        tuple(flags), around,
    )  # fmt: skip


def _turn(apart: Floats, waterline: Floats) -> tuple[float, float | None]:
    """From the tag's arrow to the hull's axis, and its scatter from picture to picture; none of a hull without axis."""
    length, width = outline.extents(waterline)
    if length < _LEAST_ELONGATION * width:
        return 0.0, None
    turned = np.unwrap(apart)
    turn = float(np.median(turned))
    return turn - 2 * np.pi * round(turn / (2 * np.pi)), float(1.4826 * np.median(np.abs(turned - turn)))


class _Solved:
    """Height of the print, the arrow from it to the centroid, and what the freeboard is wrong."""

    def __init__(self, around: Around, tag_plane: Plane, tag: Tag, places: Floats, heading: Floats) -> None:
        learnt, deck = around.learnt, around.deck
        self._tag, self._z_mm = tag, tag_plane.z_mm
        f = self.freeboard_mm = learnt.hull.freeboard_mm
        c, s = np.cos(heading), np.sin(heading)
        self._back = np.stack([np.column_stack([c, s]), np.column_stack([-s, c])], axis=1)
        hull = deck.lowered(learnt.place_mm, f)
        by_f = deck.lowered(learnt.place_mm, f + 1.0) - hull
        by_z = tag_plane.lowered(places, tag_plane.z_mm + 1.0) - places
        # arrow = (hull + by_f·df) - (place + by_z·dz), in the boat's frame
        seen = self._own(hull - places)
        by = np.zeros((len(places), 2, 4))
        by[:, :, 0] = self._own(by_z)
        by[:, 0, 1] = by[:, 1, 2] = 1.0
        by[:, :, 3] = -self._own(by_f)
        belief = np.diag([1 / tag.u_height_mm**2, 1e-9, 1e-9, 1 / doubts.u_freeboard(learnt, around.card) ** 2])
        self._robust(seen, by, belief)
        self._edges(around)

    def _own(self, apart: Floats) -> Floats:
        turned: Floats = (self._back @ apart[:, :, None])[..., 0]
        return turned

    def _robust(self, seen: Floats, by: Floats, belief: Floats) -> None:
        """Scatter and weights with the print's height left open, so that a wrong one does not pass for scatter."""
        count = len(seen)
        spread, weight = np.ones(2), np.ones(seen.shape)
        height_open = belief.copy()
        height_open[0, 0] = min(belief[0, 0], 1 / _OPEN_MM**2)
        for _ in range(_ROUNDS_COUNT):
            # what lasts does not average out
            w = weight / (spread**2 * (1 + _LASTING**2 * count))
            x, covariance = _least_squares(seen, by, w, height_open)
            rest = seen - by @ x
            spread = np.maximum(1.4826 * np.median(np.abs(rest), axis=0), _LEAST_NOISE_MM)
            weight = 1 / (1 + (rest / (3 * spread)) ** 2)
        self.scatter_mm, self._higher_mm = spread, float(x[0])
        self._contradicted = abs(x[0]) > _CONTRADICTS * np.hypot(np.sqrt(covariance[0, 0]), self._tag.u_height_mm)
        x, covariance = _least_squares(seen, by, w, belief)
        self.answer, self.covariance = x[:3], covariance[:3, :3]
        self.freeboard_mm += float(x[3])

    def _edges(self, around: Around) -> None:
        """What the outline's edges are misread everywhere alike."""
        learnt, deck = around.learnt, around.deck
        edges = doubts.shifts(
            deck, around.card, learnt, contrast=around.found.contrast, seen=learnt.place_mm[:1],
            heading_rad=np.zeros(1), place_mm=deck.lowered(learnt.place_mm[:1], learnt.hull.freeboard_mm),
        )  # fmt: skip
        for k, way in ((1, "along"), (2, "across")):
            self.covariance[k, k] += float(np.hypot(*edges[f"hull outline, {way}"][0])) ** 2

    def told(self, bow_mm: float, u_bow_mm: float) -> list[str]:
        """Weigh in what the card says of the place on deck; sentences where it says otherwise."""
        tag, flags = self._tag, []
        if self._contradicted:
            flags.append(
                f"the tag seems {self._z_mm + self._higher_mm:.0f} mm high, the boat card says {self._z_mm:.0f} mm"
            )
        card = [(2, -tag.left_mm, tag.u_left_mm, "{:.0f} mm left of the middle line", -1.0, 0.0)]
        if tag.bow_ahead_mm is not None:
            u = float(np.hypot(tag.u_bow_ahead_mm, u_bow_mm))
            card.append((1, tag.bow_ahead_mm - bow_mm, u, "{:.0f} mm behind the bow", 1.0, bow_mm))
        for k, value, u, where, sign, less in card:
            away = value - float(self.answer[k])
            if abs(away) > _CONTRADICTS * np.hypot(u, np.sqrt(self.covariance[k, k])):
                here, there = (where.format(sign * v + less) for v in (float(self.answer[k]), value))
                flags.append(f"the tag seems to sit {here}, the boat card says {there}")
                continue
            gain = self.covariance[:, k] / (self.covariance[k, k] + u**2)
            self.answer = self.answer + gain * away
            self.covariance = self.covariance - np.outer(gain, self.covariance[k])
        return flags


def _least_squares(seen: Floats, by: Floats, weight: Floats, belief: Floats) -> tuple[Floats, Floats]:
    """Answer (k,) and covariance (k, k) from `seen` (N, 2), derivatives (N, 2, k) and weights (N, 2)."""
    covariance = np.asarray(np.linalg.inv(np.einsum("nki,nk,nkj->ij", by, weight, by) + belief), np.float64)
    return covariance @ np.einsum("nki,nk,nk->i", by, weight, seen), covariance
