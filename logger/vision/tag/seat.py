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
from logger.vision.tag.hull import Around
from logger.vision.tag.papers import Seen

Floats = NDArray[np.float64]

_SCATTER_MM, _TURN_RAD = 2.0, np.radians(2.5)
"""More scatter between tag and hull than this (median from median) is no measurement."""
_BESIDE_RAD = np.radians(12.0)
"""A hull that lies so far beside the tag's arrow is none."""
_TRAVEL_BESIDE_RAD, _TRAVEL_RAD = np.radians(25.0), np.radians(8.0)
"""The same two of a disc, whose arrow is only where it travels: a boat that is blown goes sideways too."""
_LASTING = 0.5
"""Share of the scatter that may be the same in all pictures."""
_LEAST_ELONGATION = 1.15
"""A hull less long than this, over its width, has no axis."""
_LEAST_ARM_MM = 15.0
"""A disc so far from the centroid of a round boat shows with it which way the boat lies."""
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
    """None: neither outline nor disc tell which way it points."""
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
    """The hull, to be laid over other pictures."""
    is_by_arm: bool = False
    """Whether a round boat's heading is told by the way from its disc to its centroid, as the hull has no axis."""


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
    beside, scatter = (_TRAVEL_BESIDE_RAD, _TRAVEL_RAD) if tag.kind == "disc" else (_BESIDE_RAD, _TURN_RAD)
    if u_turn is not None and (abs(turn) > beside or u_turn > scatter):
        return "the outline does not lie along the tag's arrow"
    heading = own + turn
    places = np.array([seen.place_mm[n] for n in numbers])
    arm = None
    if tag.kind == "disc" and u_turn is not None:
        heading, turn, u_turn = learnt.heading_rad, 0.0, 0.0  # where it travels says nothing of the hull's axis
    elif tag.kind == "disc":
        arm = _by_arm(deck.lowered(learnt.place_mm, learnt.hull.freeboard_mm) - places, own, tag.left_mm)
        heading = heading if arm is None else arm
    solved = _Solved(around, tag_plane, tag, places, heading)
    apart = solved.scatter_mm
    if apart.max() > _SCATTER_MM:
        return f"the outline and the tag disagree by {apart.max():.0f} mm from picture to picture"
    bow = float(waterline[:, 0].max())
    flags = solved.told(bow, doubts.u_outline(learnt, deck, around.card))
    waterline = _reaching(waterline, solved.bow_mm)
    u = None if u_turn is None else float(max(u_turn / np.sqrt(len(numbers)), _U_TURN_RAD))
    if arm is not None:
        u = tag.u_left_mm / float(np.hypot(*solved.answer[1:]))
    if tag.kind == "square" and u is not None:
        by_card = np.radians(tag.u_turn_deg)
        if abs(turn) > _CONTRADICTS * np.hypot(by_card, u):
            flags.append(f"the tag's arrow points {abs(np.degrees(turn)):.1f}° beside the bow")
    return Seat(
        (float(solved.answer[1]), float(solved.answer[2])), turn, u, tag_plane.z_mm + float(solved.answer[0]),
        solved.freeboard_mm, solved.covariance, (float(apart[0]), float(apart[1])), waterline,
        solved.u_bow_mm, tuple(flags), around, arm is not None,
    )  # fmt: skip


def _by_arm(arrow_mm: Floats, travel_rad: Floats, left_mm: float) -> Floats | None:
    """(N,) headings from the arrows (N, 2) from disc to centroid, as the disc is `left_mm` left of the middle line.

    None where disc and centroid are too near to each other. Travel only says whether the centroid is ahead or behind.
    """
    length = float(np.median(np.hypot(*arrow_mm.T)))
    if length < max(_LEAST_ARM_MM, 2 * abs(left_mm)):
        return None
    points = np.arctan2(arrow_mm[:, 1], arrow_mm[:, 0])
    is_ahead = float(np.cos(points - travel_rad).sum()) > 0
    own = float(np.arctan2(-left_mm, np.sqrt(length**2 - left_mm**2) * (1 if is_ahead else -1)))
    return travel_rad + (points - own - travel_rad + np.pi) % (2 * np.pi) - np.pi


def _reaching(waterline: Floats, bow_mm: float) -> Floats:
    """(M, 2) the same outline with its fore part stretched to that bow."""
    x, y = waterline.T
    return np.column_stack([np.where(x > 0, x * (bow_mm / x.max()), x), y])


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
            self.covariance[k, k] += around.u_start_mm[k - 1] ** 2

    def told(self, bow_mm: float, u_bow_mm: float) -> list[str]:
        """Weigh in what the card says of the place on deck; sentences where it says otherwise.

        From print to bow, which is what a ruler measures, is from print to centroid and from there to the bow: both
        give way, each by its share. That what is left of their errors has opposite signs is not told: the bow is
        then a little better than is said.

        Args:
            bow_mm: from the centroid, by the outline.
            u_bow_mm: its standard uncertainty.
        """
        tag, flags = self._tag, []
        self.bow_mm, self.u_bow_mm = bow_mm, u_bow_mm
        if self._contradicted:
            flags.append(
                f"the tag seems {self._z_mm + self._higher_mm:.0f} mm high, the boat card says {self._z_mm:.0f} mm"
            )
        if tag.bow_ahead_mm is not None:
            ahead = float(self.answer[1]) + bow_mm
            share = u_bow_mm**2 / (self.covariance[1, 1] + u_bow_mm**2 + tag.u_bow_ahead_mm**2)
            if self._weighed(1, tag.bow_ahead_mm - ahead, float(np.hypot(tag.u_bow_ahead_mm, u_bow_mm))):
                self.bow_mm += share * (tag.bow_ahead_mm - ahead)
                self.u_bow_mm *= float(np.sqrt(1 - share))
            else:
                flags.append(_elsewhere("{:.0f} mm behind the bow", ahead, tag.bow_ahead_mm))
        left = -float(self.answer[2])
        if not self._weighed(2, left - tag.left_mm, tag.u_left_mm):
            flags.append(_elsewhere("{:.0f} mm left of the middle line", left, tag.left_mm))
        return flags

    def _weighed(self, k: int, away: float, u: float) -> bool:
        """Move the answer by its share of what was measured of its k-th part; not if that contradicts (False)."""
        if abs(away) > _CONTRADICTS * np.hypot(u, np.sqrt(self.covariance[k, k])):
            return False
        gain = self.covariance[:, k] / (self.covariance[k, k] + u**2)
        self.answer = self.answer + gain * away
        self.covariance = self.covariance - np.outer(gain, self.covariance[k])
        return True


def _elsewhere(where: str, here_mm: float, there_mm: float) -> str:
    return f"the tag seems to sit {where.format(here_mm)}, the boat card says {where.format(there_mm)}"


def _least_squares(seen: Floats, by: Floats, weight: Floats, belief: Floats) -> tuple[Floats, Floats]:
    """Answer (k,) and covariance (k, k) from `seen` (N, 2), derivatives (N, 2, k) and weights (N, 2)."""
    covariance = np.asarray(np.linalg.inv(np.einsum("nki,nk,nkj->ij", by, weight, by) + belief), np.float64)
    return covariance @ np.einsum("nki,nk,nk->i", by, weight, seen), covariance
