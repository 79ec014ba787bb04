"""Ways to see a boat: by its light, in one colour, by its hue, without hue, by crinkles, within a larger silhouette.

Which of them are tried, and which look is believed, is said in `looks.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from logger.vision import colours, doubts, outline
from logger.vision.card import Card
from logger.vision.film import Colour, StoredFilm, one_colour
from logger.vision.glance import Glance, glance
from logger.vision.ground import Ground
from logger.vision.hueless import BRIGHTNESS, NEARNESS, Hueless, OthersAsFloor, Uncoloured, tells
from logger.vision.hues import PAIRS, hue
from logger.vision.learning import Learnt, learn
from logger.vision.light import ONE_COLOUR, Tone
from logger.vision.plane import Plane
from logger.vision.survey import Sought, Survey, in_another, posed, survey
from logger.vision.texture import CRINKLES, CrinkledFilm, crinkled
from logger.vision.within import within

Floats = NDArray[np.float64]

_FAINT_GREY = 30.0
"""Contrast, in picture numbers, below which colour is tried."""
_CLEARLY = 1.3
"""How many times the contrast in grey a colour must have."""
_BEHIND = 0.7
"""Share of the best colour's contrast below which another is not surveyed."""
_CRINKLED, _PLAINLY = 20.0, 2.5
"""Contrast of crinkles (texture.py) that only foil and its like have; that of any boat, in noises."""
_HUED, _HUED_PLAINLY = 12.0, 4.0
"""The same of hues (hues.py)."""
OFF_CARD = 0.08
"""An outline whose length and width are together so far from the card's, as shares, is not all boat."""
_OFF_CARD_BY_CRINKLES = 0.2
"""The same of one whose soft edge reaches a little too far."""
_SHADE, _ONE_HUE, _POWER = (0.15, 0.9), 1.35, 2.2
"""A shadow leaves so much of the floor's light, of each colour alike up to that factor; light is the picture's numbers
to that power."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What one boat looks like in one film."""

    film: StoredFilm
    found: Survey
    learnt: Learnt

    def off(self, card: Card) -> float:
        """How far its length and width are from the card's, as shares; 0 where the card says nothing."""
        return off(self.learnt.hull.outline(), card)

    def misses_card(self, card: Card) -> bool:
        """Whether it is not of the size that the card says."""
        return self.off(card) >= OFF_CARD

    def is_plain(self, card: Card, off_card: float = OFF_CARD) -> bool:
        """Whether it is of the card's size, but for so much, and its edge is seen all round."""
        return self.off(card) < off_card and not doubts.shines(self.learnt)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Where one boat is looked for, and what is known of it beforehand."""

    grey: StoredFilm
    plane: Plane
    """z = freeboard on the card."""
    known: Ground
    card: Card
    floor_share: float
    """As of `learn`."""

    def surveyed(self, film: StoredFilm, first: Glance | str | None = None) -> Survey | str:
        """The sparse pass in one film."""
        return survey(film, self.plane, self.known, first)

    def learnt(self, film: StoredFilm, found: Survey, tone: Tone | None = None) -> Look:
        """The look of what was found in that film."""
        tone = tone or (colours.tone(film, found, self.plane) if film.is_grey else ONE_COLOUR)
        found = replace(found, tone=tone)
        learnt = learn(
            found.pictures,
            found.water,
            self.plane,
            polygon_mm=found.polygon_mm,
            place_mm=found.place_mm,
            heading_rad=found.heading_rad,
            card=self.card,
            depth_share=self.floor_share,
            is_faint=found.contrast < _FAINT_GREY,
            tone=found.tone,
        )
        return Look(film, found, replace(learnt, is_crinkled=found.is_crinkled, is_by_colour=tone is ONE_COLOUR))

    def seen_in(self, film: StoredFilm, found: Survey) -> Survey:
        """The same survey in another film."""
        return in_another(found, film, self.plane, self.known)

    def off(self, found: Survey) -> float:
        """How far a silhouette is from the card's size."""
        return off(found.polygon_mm, self.card)


def off(polygon_mm: Floats, card: Card) -> float:
    """How far the length and width of an outline (N, 2) are from the card's, as shares; 0 where it says nothing."""
    size = outline.extents(polygon_mm)
    return sum(abs(a / b - 1) for a, b in zip(size, (card.length_mm, card.width_mm), strict=True) if b)


def plainest(scene: Scene, first: Glance, in_grey: Callable[[], Sought | str]) -> tuple[StoredFilm, Survey | str]:
    """The film in which the boat is plainest, with its survey; `first` and `in_grey` are what is seen in grey.

    A yellow boat may be as bright as the floor and yet be plain to see in blue. Colour costs time, so grey comes first.
    """
    plain = None if first.contrast < _FAINT_GREY else posed(in_grey(), scene.plane, scene.known)
    clearness = 0.0 if plain is None else _clearness(plain, scene.card)
    if clearness < _FAINT_GREY:
        enough = _CLEARLY * (first.contrast if plain is None else clearness)
        looks = _in_colour(scene, sorted(first.pictures), enough=enough)
        surveys = [(film, scene.surveyed(film, look)) for film, look in looks]
        best = max(surveys, key=lambda seen: _clearness(seen[1], scene.card), default=None)
        if best is not None and _clearness(best[1], scene.card) > _CLEARLY * clearness:
            return best
    return scene.grey, posed(in_grey(), scene.plane, scene.known) if plain is None else plain


def apart_from_shadow(scene: Scene, look: Look, first: Glance) -> Look | None:
    """Of a boat that has the light which its shadow leaves: the plain look in a colour in which it has not."""
    if not doubts.is_like_its_shadow(look.learnt):
        return None
    tried = _in_colour(scene, sorted(first.pictures), enough=_FAINT_GREY)
    for film, seen in sorted(tried, key=lambda one: 0.0 if isinstance(one[1], str) else -one[1].contrast):
        if not isinstance(found := scene.surveyed(film, seen), str):
            other = scene.learnt(film, found)
            if other.is_plain(scene.card) and not doubts.is_like_its_shadow(other.learnt):
                return other
    return None


def may_be_shade(scene: Scene, film: StoredFilm, found: Survey) -> bool:
    """Whether it is darker than the floor and of its hue: a boat of that kind, or the shadow of another one.

    A shadow that lies apart from its boat has the boat's size, and moves as it does.
    """
    boat, water = colours.boat_and_water(film, found, scene.plane)
    left = (boat / np.maximum(water, 1.0)) ** _POWER
    return bool(left.min() > _SHADE[0] and left.max() < min(_SHADE[1], _ONE_HUE * left.min()))


def without_hue(scene: Scene, floor: tuple[float, float]) -> Look | None:
    """The look of a boat of foil or white paper on a coloured floor; None if nothing stands out there."""
    if not tells(floor):
        return None
    near = Hueless(floor)
    film = scene.grey.made(near)
    found = survey(OthersAsFloor(film, near), scene.plane, scene.known, by_size=True)
    if isinstance(found, str) or found.contrast < max(_HUED, _HUED_PLAINLY * found.noise):
        return None
    look = scene.learnt(film, scene.seen_in(film, found), NEARNESS)
    # a wall has the deck's hue: it hardly tells how high it is
    return replace(look, learnt=replace(look.learnt, sides_covariance=scene.card.sides_covariance()))


def by_hue(scene: Scene) -> list[Look]:
    """The looks of what stands out by its hue."""
    found = [scene.surveyed(scene.grey.made(partial(hue, pair=pair))) for pair in PAIRS]
    return [
        _clearest(scene, hued)
        for hued in found
        if not isinstance(hued, str) and hued.contrast > max(_HUED, _HUED_PLAINLY * hued.noise)
    ]


def within_silhouette(scene: Scene, found: Survey, film: StoredFilm, seen: Survey) -> Look | None:
    """The plain look of a boat of the card's size within silhouettes that are larger; None: there is none.

    Within the silhouette of a boat and its shadow the shadow alone may be of that size.

    Args:
        scene: where it is looked for.
        found: in which the silhouettes stand out.
        film: in which the boat is learnt.
        seen: the same survey in that film.
    """
    inner = within(found, scene.plane, scene.card)
    if inner is None or may_be_shade(scene, film, inner.of(seen)):
        return None
    look = scene.learnt(film, inner.of(seen))
    return look if look.is_plain(scene.card) else None


def by_crinkles(scene: Scene, floor: tuple[float, float]) -> tuple[Look | None, list[Look]]:
    """The look of a boat that is found by its crinkles and edges; if none is it surely, those that may be."""
    found = survey(CrinkledFilm(scene.grey), scene.plane, scene.known, by_size=True)
    if isinstance(found, str) or found.contrast <= _PLAINLY * found.noise:
        return None, []
    if inner := within_silhouette(scene, found, scene.grey, scene.seen_in(scene.grey, found)):
        return inner, []
    rough = _crinkled(scene, found)
    if found.contrast > _CRINKLED and rough.off(scene.card) < _OFF_CARD_BY_CRINKLES:
        return rough, []
    return None, _by_edges(scene, found, floor)


def _crinkled(scene: Scene, found: Survey) -> Look:
    """The look of foil in how crinkled it is: as bright as the floor in places, but rough where that is smooth."""
    film = scene.grey.made(crinkled)
    look = scene.learnt(film, scene.seen_in(film, found), CRINKLES)
    # a wall is as crinkled as the deck: it does not tell how high it is
    learnt = replace(look.learnt, sides_covariance=scene.card.sides_covariance(), is_by_crinkles=True)
    return replace(look, learnt=learnt)


def _by_edges(scene: Scene, found: Survey, floor: tuple[float, float]) -> list[Look]:
    """Looks of a boat that was found by its crinkles and edges: as it is, and without what is coloured."""
    found = replace(found, is_crinkled=found.contrast > _CRINKLED)
    films: list[tuple[StoredFilm, Tone | None]] = [
        (scene.grey, None),
        (scene.grey.made(Uncoloured(floor)), BRIGHTNESS),
    ]
    return [scene.learnt(film, scene.seen_in(film, found), tone) for film, tone in films]


def _clearest(scene: Scene, found: Survey) -> Look:
    """The look of a boat that was found by its hue: in one colour if it is clearly plainer in that than in grey."""
    film, clearest = scene.grey, scene.seen_in(scene.grey, found)
    least = _CLEARLY * clearest.contrast
    for channel in range(3):
        other = scene.grey.in_one_colour(channel)
        seen = scene.seen_in(other, found)
        if seen.contrast > max(least, clearest.contrast):
            film, clearest = other, seen
    return scene.learnt(film, clearest)


def _in_colour(scene: Scene, numbers: list[int], *, enough: float) -> list[tuple[StoredFilm, Glance | str]]:
    """A first look at the colours in which the boat has more contrast than `enough`, without those clearly behind."""
    decoded: Mapping[int, Colour] = scene.grey.in_colour(numbers)
    looks = [
        glance({n: one_colour(picture, channel) for n, picture in decoded.items()}, scene.plane, scene.known)
        for channel in range(3)
    ]
    contrasts = [0.0 if isinstance(look, str) else look.contrast for look in looks]
    least = max(enough, _BEHIND * max(contrasts))
    return [(scene.grey.in_one_colour(c), looks[c]) for c in range(3) if contrasts[c] > least]


def _clearness(found: Survey | str, card: Card) -> float:
    """Contrast, picture numbers, less so where the silhouette is not of the size on the card."""
    if isinstance(found, str):
        return 0.0
    told = (card.length_mm, card.width_mm)
    fits = [min(a / b, b / a) for a, b in zip(outline.extents(found.polygon_mm), told, strict=True) if b]
    return found.contrast * float(np.prod(fits)) ** 3
