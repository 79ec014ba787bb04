"""What one boat looks like: learnt from whichever of light, colour, hue or crinkles shows it in the card's size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray

from logger.vision import colours, doubts, outline
from logger.vision.background import Grey
from logger.vision.card import Card
from logger.vision.film import Colour, StoredFilm, one_colour
from logger.vision.glance import Glance, glance
from logger.vision.ground import Ground
from logger.vision.hueless import BRIGHTNESS, NEARNESS, Hueless, OthersAsFloor, Uncoloured, floor_hue, tells
from logger.vision.hues import PAIRS, hue
from logger.vision.learning import Learnt, learn
from logger.vision.light import ONE_COLOUR, Tone
from logger.vision.plane import Plane
from logger.vision.survey import Sought, Survey, in_another, posed, sought, survey
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
_FLOOR_EVERY = 6
"""Of so many pictures one is looked at for the floor's hue."""
_OFF_CARD = 0.08
"""An outline whose length and width are together so far from the card's, as shares, is not all boat."""
_WHATEVER_CASTS_IT = 0.16
"""The same of a boat beside what may be its shadow: that may spoil its edge."""
_FAR_OFF_CARD = 0.3
"""What a silhouette is off by if learning it surely comes to no boat of the card's size: others are tried first."""
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

    def misses_card(self, card: Card) -> bool:
        """Whether it is not of the size that the card says."""
        return _off_card(self, card) >= _OFF_CARD


def look_of(
    grey: StoredFilm, pictures: Mapping[int, Grey], plane: Plane, known: Ground, *, card: Card, floor_share: float
) -> Look | str:
    """The boat's look, learnt from where its light differs from the water's.

    If that is not of the card's size (a shadow beside the boat, a sail), or not plain, or may be the boat's shadow, the
    boat is looked for as a thing brighter than the floor, as one without hue on a coloured floor, by its hue, and by
    its crinkles. One that has the very light which its shadow leaves is looked at in single colours.
    """
    with grey.at_hand(pictures):
        return _tried(grey, pictures, plane, known, card, floor_share)


def _tried(
    grey: StoredFilm, pictures: Mapping[int, Grey], plane: Plane, known: Ground, card: Card, floor_share: float
) -> Look | str:
    first = glance(pictures, plane, known)
    in_grey = cache(partial(sought, grey, plane, known, first))
    film, found = _surveyed(grey, first, in_grey, plane, known, card)
    later: list[tuple[StoredFilm, Survey]] = []
    look: Look | str
    if isinstance(found, str):
        look = found
    elif _off(found.polygon_mm, card) > _FAR_OFF_CARD:
        look = "what stands out is not of the boat's size"
        later.append((film, found))
    else:
        look = _learnt(film, found, plane, card, floor_share)
    is_dim = isinstance(look, str) or doubts.is_dim(look.learnt)
    is_shade = not isinstance(found, str) and _off_card(look, card) < _OFF_CARD and _may_be_shade(film, found, plane)
    if not is_shade and (apart := _apart_from_shadow(look, first, grey, plane, known, card, floor_share)):
        return apart
    if not is_dim and not is_shade and _off_card(look, card) < _OFF_CARD:
        return look
    others = [] if isinstance(look, str) or is_shade else [look]
    bright = posed(in_grey(), plane, known, is_bright=True)
    if not isinstance(bright, str):
        if _off(bright.polygon_mm, card) > _FAR_OFF_CARD:
            later.append((grey, bright))
        else:
            others.append(_learnt(grey, bright, plane, card, floor_share))
            if _is_plain(others[-1], card):
                return others[-1]
    floor = floor_hue(grey.in_colour(sorted(pictures)[::_FLOOR_EVERY]).values(), known.tank)
    if floor is not None and (bare := _without_hue(grey, floor, plane, known, card, floor_share)) is not None:
        if _is_plain(bare, card):
            return bare
        others.append(bare)
    others += _by_hue(grey, plane, known, card, floor_share)
    most = _WHATEVER_CASTS_IT if is_shade else _OFF_CARD
    plain = [tried for tried in others if _is_plain(tried, card, most)]
    if not plain:
        if not is_shade and (inner := _within(found, film, found, plane, card, floor_share)):
            return inner
        others += [_learnt(film, found, plane, card, floor_share) for film, found in later]
        plain = [tried for tried in others if _is_plain(tried, card, most)]
    if is_shade and (plain or not is_dim):
        return min(plain, key=lambda tried: _off_card(tried, card), default=look)
    if floor is not None and not plain:
        rough = _rough(grey, floor, plane, known, card, floor_share)
        if isinstance(rough, Look):
            return rough
        others += rough
    others += [look] if is_shade and not isinstance(look, str) else []
    return min(others, key=lambda tried: _off_card(tried, card), default=look)


def _may_be_shade(film: StoredFilm, found: Survey, plane: Plane) -> bool:
    """Whether it is darker than the floor and of its hue: a boat of that kind, or the shadow of another one.

    A shadow that lies apart from its boat has the boat's size, and moves as it does.
    """
    boat, water = colours.boat_and_water(film, found, plane)
    left = (boat / np.maximum(water, 1.0)) ** _POWER
    return bool(left.min() > _SHADE[0] and left.max() < min(_SHADE[1], _ONE_HUE * left.min()))


def _by_hue(grey: StoredFilm, plane: Plane, known: Ground, card: Card, floor_share: float) -> list[Look]:
    """The looks of what stands out by its hue."""
    found = [survey(grey.made(partial(hue, pair=pair)), plane, known) for pair in PAIRS]
    return [
        _clearest(grey, hued, plane, known, card, floor_share)
        for hued in found
        if not isinstance(hued, str) and hued.contrast > max(_HUED, _HUED_PLAINLY * hued.noise)
    ]


def _clearest(grey: StoredFilm, found: Survey, plane: Plane, known: Ground, card: Card, floor_share: float) -> Look:
    """The look of a boat that was found by its hue: in one colour if it is clearly plainer in that than in grey."""
    film, plainest = grey, in_another(found, grey, plane, known)
    least = _CLEARLY * plainest.contrast
    for channel in range(3):
        other = grey.in_one_colour(channel)
        seen = in_another(found, other, plane, known)
        if seen.contrast > max(least, plainest.contrast):
            film, plainest = other, seen
    return _learnt(film, plainest, plane, card, floor_share)


def _is_plain(look: Look, card: Card, off_card: float = _OFF_CARD) -> bool:
    """Whether it is of the card's size, but for so much, and its edge is seen all round."""
    return _off_card(look, card) < off_card and not doubts.shines(look.learnt)


def _apart_from_shadow(
    look: Look | str,
    first: Glance | str,
    grey: StoredFilm,
    plane: Plane,
    known: Ground,
    card: Card,
    floor_share: float,
) -> Look | None:
    """Of a boat that has the light which its shadow leaves: the plain look in a colour in which it has not."""
    if isinstance(look, str) or isinstance(first, str) or not doubts.is_like_its_shadow(look.learnt):
        return None
    tried = _in_colour(grey, sorted(first.pictures), plane, known, enough=_FAINT_GREY)
    for film, seen in sorted(tried, key=lambda one: 0.0 if isinstance(one[1], str) else -one[1].contrast):
        if not isinstance(found := survey(film, plane, known, seen), str):
            other = _learnt(film, found, plane, card, floor_share)
            if _is_plain(other, card) and not doubts.is_like_its_shadow(other.learnt):
                return other
    return None


def _within(
    found: Survey | str, film: StoredFilm, seen: Survey | str, plane: Plane, card: Card, floor_share: float
) -> Look | None:
    """The plain look of a boat of the card's size within silhouettes that are larger; None: there is none.

    Within the silhouette of a boat and its shadow the shadow alone may be of that size.

    Args:
        found: in which the silhouettes stand out.
        film: in which the boat is learnt.
        seen: the same survey in that film.
        plane: on which the poses are.
        card: what is known beforehand.
        floor_share: as of `learn`.
    """
    if isinstance(found, str) or isinstance(seen, str):
        return None
    inner = within(found, plane, card)
    if inner is None or _may_be_shade(film, inner.of(seen), plane):
        return None
    look = _learnt(film, inner.of(seen), plane, card, floor_share)
    return look if _is_plain(look, card) else None


def _without_hue(
    grey: StoredFilm, floor: tuple[float, float], plane: Plane, known: Ground, card: Card, floor_share: float
) -> Look | None:
    """The look of a boat of foil or white paper on a coloured floor; None if nothing stands out there."""
    if not tells(floor):
        return None
    near = Hueless(floor)
    film = grey.made(near)
    found = survey(OthersAsFloor(film, near), plane, known, by_size=True)
    if isinstance(found, str) or found.contrast < max(_HUED, _HUED_PLAINLY * found.noise):
        return None
    look = _learnt(film, in_another(found, film, plane, known), plane, card, floor_share, NEARNESS)
    # a wall has the deck's hue: it hardly tells how high it is
    return replace(look, learnt=replace(look.learnt, sides_covariance=card.sides_covariance()))


def _rough(
    grey: StoredFilm, floor: tuple[float, float], plane: Plane, known: Ground, card: Card, floor_share: float
) -> Look | list[Look]:
    """The look of a boat that is found by its crinkles and edges; if none is it surely, those that may be."""
    found = survey(CrinkledFilm(grey), plane, known, by_size=True)
    if isinstance(found, str) or found.contrast <= _PLAINLY * found.noise:
        return []
    if inner := _within(found, grey, in_another(found, grey, plane, known), plane, card, floor_share):
        return inner
    crinkled = _by_crinkles(grey, found, plane, known, card, floor_share)
    if found.contrast > _CRINKLED and _off_card(crinkled, card) < _OFF_CARD_BY_CRINKLES:
        return crinkled
    return _crinkled(grey, found, floor, plane, known, card, floor_share)


def _by_crinkles(grey: StoredFilm, found: Survey, plane: Plane, known: Ground, card: Card, floor_share: float) -> Look:
    """The look of foil in how crinkled it is: as bright as the floor in places, but rough where that is smooth."""
    film = grey.made(crinkled)
    look = _learnt(film, in_another(found, film, plane, known), plane, card, floor_share, CRINKLES)
    # a wall is as crinkled as the deck: it does not tell how high it is
    learnt = replace(look.learnt, sides_covariance=card.sides_covariance(), is_by_crinkles=True)
    return replace(look, learnt=learnt)


def _crinkled(
    grey: StoredFilm, found: Survey, floor: tuple[float, float], plane: Plane, known: Ground, card: Card,
    floor_share: float,
) -> list[Look]:  # fmt: skip
    """Looks of a boat that was found by its crinkles and edges: as it is, and without what is coloured."""
    found = replace(found, is_crinkled=found.contrast > _CRINKLED)
    films: list[tuple[StoredFilm, Tone | None]] = [(grey, None), (grey.made(Uncoloured(floor)), BRIGHTNESS)]
    return [
        _learnt(film, in_another(found, film, plane, known), plane, card, floor_share, tone) for film, tone in films
    ]


def _learnt(
    film: StoredFilm, found: Survey, plane: Plane, card: Card, floor_share: float, tone: Tone | None = None
) -> Look:
    tone = tone or (colours.tone(film, found, plane) if film.is_grey else ONE_COLOUR)
    found = replace(found, tone=tone)
    learnt = learn(
        found.pictures,
        found.water,
        plane,
        polygon_mm=found.polygon_mm,
        place_mm=found.place_mm,
        heading_rad=found.heading_rad,
        card=card,
        depth_share=floor_share,
        is_faint=found.contrast < _FAINT_GREY,
        tone=found.tone,
    )
    return Look(film, found, replace(learnt, is_crinkled=found.is_crinkled, is_by_colour=tone is ONE_COLOUR))


def _off_card(look: Look | str, card: Card) -> float:
    """How far the learnt length and width are from the card's, as shares; 0 where the card says nothing."""
    if isinstance(look, str):
        return np.inf
    return _off(look.learnt.hull.outline(), card)


def _off(polygon_mm: Floats, card: Card) -> float:
    """The same of an outline (N, 2)."""
    size = outline.extents(polygon_mm)
    return sum(abs(a / b - 1) for a, b in zip(size, (card.length_mm, card.width_mm), strict=True) if b)


def _surveyed(
    grey: StoredFilm,
    first: Glance | str,
    in_grey: Callable[[], Sought | str],
    plane: Plane,
    known: Ground,
    card: Card,
) -> tuple[StoredFilm, Survey | str]:
    """The film in which the boat is plainest, with its survey; `first` and `in_grey` are what is seen in grey.

    A yellow boat may be as bright as the floor and yet be plain to see in blue. Colour costs time, so grey comes first.
    """
    if isinstance(first, str):
        return grey, first
    plain = None if first.contrast < _FAINT_GREY else posed(in_grey(), plane, known)
    clearness = 0.0 if plain is None else _clearness(plain, card)
    if clearness < _FAINT_GREY:
        enough = _CLEARLY * (first.contrast if plain is None else clearness)
        looks = _in_colour(grey, sorted(first.pictures), plane, known, enough=enough)
        surveys = [(film, survey(film, plane, known, look)) for film, look in looks]
        best = max(surveys, key=lambda seen: _clearness(seen[1], card), default=None)
        if best is not None and _clearness(best[1], card) > _CLEARLY * clearness:
            return best
    return grey, posed(in_grey(), plane, known) if plain is None else plain


def _in_colour(
    grey: StoredFilm, numbers: list[int], plane: Plane, known: Ground, *, enough: float
) -> list[tuple[StoredFilm, Glance | str]]:
    """A first look at the colours in which the boat has more contrast than `enough`, without those clearly behind."""
    decoded: Mapping[int, Colour] = grey.in_colour(numbers)
    looks = [
        glance({n: one_colour(picture, channel) for n, picture in decoded.items()}, plane, known)
        for channel in range(3)
    ]
    contrasts = [0.0 if isinstance(look, str) else look.contrast for look in looks]
    least = max(enough, _BEHIND * max(contrasts))
    return [(grey.in_one_colour(c), looks[c]) for c in range(3) if contrasts[c] > least]


def _clearness(found: Survey | str, card: Card) -> float:
    """Contrast, picture numbers, less so where the silhouette is not of the size on the card."""
    if isinstance(found, str):
        return 0.0
    told = (card.length_mm, card.width_mm)
    fits = [min(a / b, b / a) for a, b in zip(outline.extents(found.polygon_mm), told, strict=True) if b]
    return found.contrast * float(np.prod(fits)) ** 3
