"""Learn the hull around the known poses of its tag.

The tag says where it is in every picture, to a small part of a millimetre. So a few pictures are taken from all over
the run and the boat's outline is learnt as that of any boat (learning.py): from its silhouettes, print and all, or, of
a boat that does not stand out by itself, with the print painted over, or from the usual shape of a boat of that size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background, doubts, outline
from logger.vision.background import Grey
from logger.vision.card import Card
from logger.vision.film import StoredFilm
from logger.vision.learning import Learnt, learn
from logger.vision.light import PLAIN
from logger.vision.plane import Plane, Singles
from logger.vision.silhouette import Shape, on_plane, silhouette
from logger.vision.survey import USUAL_FLARE, Survey, deck_from
from logger.vision.tag.papers import Papers, Seen, painted
from logger.vision.tag.tips import tipped

Floats = NDArray[np.float64]

_MOST_COUNT, _FEWEST_COUNT = 14, 3
_APART_SHARE = 0.12
"""Pictures whose places are nearer than this share of the length show the same again."""
_RAYS_COUNT = 44
_ROOM = 0.75
"""The boat lies within this share of its length around the tag, and some pixels."""
_ROOM_PX = 12.0
_FAINT_GREY = 30.0
_U_COUNT, _BEYOND_MM = 2.0, 1.5
"""An outline whose size is off the card's by so many of the card's uncertainties, and so much more, is rough."""
_ROUNDED = 0.1
"""Radius of a barge's corners, as a share of its half width."""
_OFF_CARD = 0.12
"""By this share and not more the outline's size may be off the card's."""


@dataclass(frozen=True, slots=True, eq=False)
class Usual:
    """A boat's usual shape, in the tag's frame."""

    outline_mm: Floats
    """(M, 2) around its centroid."""
    centroid_mm: tuple[float, float]
    """Seen from the tag: forward, left."""

    def boxed(self) -> Usual:
        """A barge of the same length and width, its bow in the same place."""
        low, high = self.outline_mm.min(axis=0), self.outline_mm.max(axis=0)
        half, middle = (high - low) / 2, (high + low) / 2
        # corners are rounded a little, as those of all boats are
        turn = np.linspace(0, np.pi / 2, 5)
        quarter = np.column_stack([np.cos(turn), np.sin(turn)])
        rounding = _ROUNDED * float(half.min())
        sides = [
            (half - rounding) * np.array([x, y]) + rounding * outline.turned(quarter, k * np.pi / 2)
            for k, (x, y) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1)))
        ]
        ahead, left = self.centroid_mm
        return Usual(np.vstack(sides), (ahead + float(middle[0]), left + float(middle[1])))


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """The hull that was learnt around the tag."""

    found: Survey
    """The pictures, with the empty tank."""
    learnt: Learnt
    deck: Plane
    """On which it was learnt."""
    card: Card
    is_rough: bool = False
    """Whether it was learnt from a usual shape."""
    u_start_mm: tuple[float, float] = (0.0, 0.0)
    """How far its centroid may be off, along and across, as it was learnt from other shapes just as well."""
    film: StoredFilm | None = None
    """In which it was learnt and may be laid over other pictures; None: in grey."""


def learnt_around(
    seen: Seen, *, tag_plane: Plane, deck: Plane, card: Card, usual: Usual, depth_share: float
) -> Around | str:
    """The hull that carries the tag; a sentence if its outline is not seen well enough.

    Args:
        seen: the tag in pictures from all over the run.
        tag_plane: of the print.
        deck: z = freeboard.
        card: with the boat's length.
        usual: where the outline must be if the card is right.
        depth_share: as for `learn`.
    """
    length = card.length_mm
    if length is None:
        return "the boat card says no length"
    numbers = _spread(seen, _APART_SHARE * length)
    if len(numbers) < _FEWEST_COUNT:
        return "the boat does not come far enough for its outline to be told from the floor"
    scene = _Scene(seen, numbers, tag_plane, deck, length)

    def freely(found: Survey) -> Around | str:
        papers = Papers(seen, found.numbers.tolist(), tag_plane, deck)
        return _learnt(found, deck, card, depth_share=depth_share, held=None, papers=papers)

    plain: Around | str = ""
    for without_print in (False, True):
        shapes = scene.by_silhouettes(without_print=without_print)
        tried = shapes if isinstance(shapes, str) else freely(shapes)
        if isinstance(tried, Around) and not tried.is_rough:
            return tried
        plain = plain if isinstance(plain, Around) else tried
    rough: list[Around] = []
    for shape in (usual, usual.boxed()):
        found = scene.by_shape(shape)
        papers = Papers(seen, found.numbers.tolist(), tag_plane, deck)
        around = _learnt(found, deck, card, depth_share=depth_share, held=_Held(seen, found), papers=papers)
        if isinstance(around, Around):
            rough.append(around)
    if not rough:
        return plain if isinstance(plain, Around) else str(plain)
    best = likeliest(rough, card)
    freed = freely(_from(best.found, best.learnt, best.learnt.hull.outline()))
    if isinstance(freed, Around) and not freed.is_rough:
        return freed
    return plain if isinstance(plain, Around) else best


def _from(found: Survey, learnt: Learnt, polygon_mm: Floats) -> Survey:
    """The same with what was learnt as a first idea."""
    return replace(found, place_mm=learnt.place_mm, heading_rad=learnt.heading_rad, polygon_mm=polygon_mm)


def likeliest(rough: Sequence[Around], card: Card) -> Around:
    """Of those that are about as near to the card's size as the nearest, the one that explains the pictures best.

    Where another of them puts the hull elsewhere, each may be wrong by as much.
    """
    beyond = [beyond_card(around.learnt, card) for around in rough]
    near = [around for around, mm in zip(rough, beyond, strict=True) if mm < min(beyond) + _BEYOND_MM]
    best = min(near, key=_unexplained)
    c, s = np.cos(best.learnt.heading_rad), np.sin(best.learnt.heading_rad)
    apart = [(around.learnt.place_mm - best.learnt.place_mm).T for around in near]
    ahead, left = (
        float(np.abs(np.median(way, axis=1)).max())
        for way in ([c * x + s * y for x, y in apart], [c * y - s * x for x, y in apart])
    )
    return replace(best, u_start_mm=(ahead / np.sqrt(2), left / np.sqrt(2)))


def _unexplained(around: Around) -> float:
    """Root mean square of what the hull's look leaves of the light along its rays."""
    noise = around.learnt.hull.noise
    return float(np.sqrt(np.mean(noise[np.isfinite(noise)] ** 2)))


def _learnt(
    found: Survey, deck: Plane, card: Card, *, depth_share: float, held: _Held | None, papers: Papers
) -> Around | str:
    """Where the tag has to hold the places, as it starts from the usual shape, all is as doubtful as of foil."""
    learnt = _once(found, deck, card, depth_share=depth_share, held=held, papers=papers)
    polygon = tipped(learnt.hull)
    if polygon is not None:
        again = _once(_from(found, learnt, polygon), deck, card, depth_share=depth_share, held=held, papers=papers)
        if beyond_card(again, card) <= beyond_card(learnt, card):
            learnt = again
    complaints = doubts.flags(card, learnt, deck, found)
    if held is not None:
        learnt = replace(learnt, is_crinkled=True)
        complaints = doubts.flags(card, learnt, deck, found)[1:]  # the first is that it shines: that widens all
    if complaints:
        return complaints[0]
    size = outline.extents(learnt.hull.waterline(deck.height_mm))
    for value, told in zip(size, (card.length_mm, card.width_mm), strict=True):
        if told is not None and abs(value / told - 1) > _OFF_CARD:
            return "the outline is not of the size on the boat card"
    return Around(found, learnt, deck, card, is_rough=held is not None or beyond_card(learnt, card) > _BEYOND_MM)


def beyond_card(learnt: Learnt, card: Card) -> float:
    """By how much more than the card's doubt the outline is longer, shorter, wider or narrower, mm."""
    told = ((card.length_mm, card.u_length_mm), (card.width_mm, card.u_width_mm))
    sizes = outline.extents(learnt.hull.outline())
    beyond = [
        abs(seen - value) - _U_COUNT * u for seen, (value, u) in zip(sizes, told, strict=True) if value is not None
    ]
    return max(0.0, *beyond)


def _once(found: Survey, deck: Plane, card: Card, *, depth_share: float, held: _Held | None, papers: Papers) -> Learnt:
    return learn(
        found.pictures, found.water, deck, polygon_mm=found.polygon_mm, place_mm=found.place_mm,
        heading_rad=found.heading_rad, card=card, depth_share=depth_share, is_faint=found.contrast < _FAINT_GREY,
        tone=found.tone, rays_count=_RAYS_COUNT, held=held, covered=papers,
    )  # fmt: skip


class _Held:
    """Keeps a hull's places and headings the same as seen from the tag in all pictures."""

    def __init__(self, seen: Seen, found: Survey) -> None:
        numbers = found.numbers.tolist()
        self._place = np.array([seen.place_mm[n] for n in numbers])
        self._heading = np.array([seen.heading_rad[n] for n in numbers])

    def __call__(self, place_mm: Floats, heading_rad: Floats) -> tuple[Floats, Floats]:
        """The same with what is usual between hull and tag."""
        turn = np.median(heading_rad - self._heading)
        heading = self._heading + turn
        c, s = np.cos(heading), np.sin(heading)
        x, y = (place_mm - self._place).T
        ahead, left = np.median(c * x + s * y), np.median(c * y - s * x)
        return self._place + np.column_stack([c * ahead - s * left, s * ahead + c * left]), heading


def _spread(seen: Seen, apart_mm: float) -> list[int]:
    """Pictures whose places are apart from one another, as many as are wanted."""
    kept: list[int] = []
    for number in sorted(n for n in seen.pictures if n in seen.place_mm):
        if all(np.hypot(*(seen.place_mm[number] - seen.place_mm[other])) > apart_mm for other in kept):
            kept.append(number)
    if len(kept) > _MOST_COUNT:
        kept = [kept[k] for k in np.unique(np.linspace(0, len(kept) - 1, _MOST_COUNT).round().astype(int))]
    return kept


class _Scene:
    """A few pictures and the empty tank behind the boat in them."""

    def __init__(self, seen: Seen, numbers: list[int], tag_plane: Plane, deck: Plane, length_mm: float) -> None:
        self._seen, self._numbers, self._plane, self._deck, self._length = seen, numbers, tag_plane, deck, length_mm
        self._radius = _ROOM * length_mm / deck.step_mm(deck.foot_mm) + _ROOM_PX
        self._places = np.array([seen.place_mm[n] for n in numbers])
        self._spots = [(float(u), float(v)) for u, v in tag_plane.pixels(self._places)]
        raw = [seen.pictures[n] for n in numbers]
        rough = background.median(np.stack([p[::4, ::4] for p in raw]))
        self._lights = [background.light_of(p[::4, ::4], rough) for p in raw]
        self.empty: Singles = background.away_from_boat(
            raw, self._lights, [(u, v, self._radius) for u, v in self._spots]
        )
        with np.errstate(all="ignore"):
            spread = np.nanmedian(np.abs(raw[len(raw) // 2][::5, ::5] - self.empty[::5, ::5]))
        self.noise = max(0.7, 1.4826 * float(spread))

    def by_silhouettes(self, *, without_print: bool = False) -> Survey | str:
        """What the sparse pass over an untagged film would have found, with the print or with it painted over."""
        seen = self._seen
        shapes: list[tuple[int, Shape, float]] = []
        for number, spot, light in zip(self._numbers, self._spots, self._lights, strict=True):
            picture = painted(seen, number, self._plane) if without_print else seen.pictures[number]
            one = silhouette(
                picture, self.empty, centre_px=spot, radius_px=self._radius,
                noise=self.noise, light=light,
            )  # fmt: skip
            if one is not None:
                shape = on_plane(one, self._deck)
                size = outline.extents(outline.turned(shape.polygon_mm - shape.centre_mm, -seen.heading_rad[number]))
                if 0.75 < size[0] / self._length < 1.35:
                    shapes.append((number, shape, one.contrast))
        if len(shapes) < _FEWEST_COUNT:
            return "the boat's outline does not stand out from the floor"
        middle = float(np.median([shape.area_mm2 for _, shape, _ in shapes]))
        shapes = [item for item in shapes if 0.75 * middle < item[1].area_mm2 < 1.33 * middle]
        if len(shapes) < _FEWEST_COUNT:
            return "the boat's outline is seen differently in each picture"
        heading = np.array([seen.heading_rad[n] for n, _, _ in shapes])
        taper = USUAL_FLARE + self._deck.z_mm / self._deck.height_mm
        polygon, place = deck_from([shape for _, shape, _ in shapes], heading, self._deck, taper=taper)
        return Survey(
            np.array([n for n, _, _ in shapes], np.int64), [seen.pictures[n] for n, _, _ in shapes], self.empty,
            self.noise, float(np.median([c for _, _, c in shapes])), place, heading, polygon, tone=PLAIN,
        )  # fmt: skip

    def by_shape(self, usual: Usual) -> Survey:
        """The same from what the card says alone, the print painted over."""
        heading = np.array([self._seen.heading_rad[n] for n in self._numbers])
        place = self._places + np.array([outline.turned(np.array([usual.centroid_mm]), h)[0] for h in heading])
        pictures = [painted(self._seen, n, self._plane) for n in self._numbers]
        contrast = [
            self._contrast(picture, outline.turned(usual.outline_mm, h) + at)
            for picture, h, at in zip(pictures, heading, place, strict=True)
        ]
        return Survey(
            np.array(self._numbers, np.int64), pictures, self.empty, self.noise, float(np.median(contrast)), place,
            heading, usual.outline_mm, tone=PLAIN,
        )  # fmt: skip

    def _contrast(self, picture: Grey, polygon_mm: Floats) -> float:
        """How far the boat's light is from the water's, picture numbers."""
        mask = np.zeros(picture.shape, np.uint8)
        cv2.fillConvexPoly(mask, np.round(self._deck.pixels(polygon_mm)).astype(np.int32), 1)
        apart = np.abs(picture[mask > 0] - self.empty[mask > 0])
        apart = apart[np.isfinite(apart)]
        return float(np.median(apart)) if apart.size else 0.0
