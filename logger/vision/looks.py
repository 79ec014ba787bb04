"""What one boat looks like: learnt from whichever of light, colour, hue or crinkles shows it in the card's size."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, cached_property, partial

from logger.vision import doubts
from logger.vision.background import Grey
from logger.vision.card import Card
from logger.vision.film import StoredFilm
from logger.vision.glance import Glance, glance
from logger.vision.ground import Ground
from logger.vision.hueless import floor_hue
from logger.vision.plane import Plane
from logger.vision.survey import Sought, Survey, posed, sought
from logger.vision.ways import (
    OFF_CARD,
    Look,
    Scene,
    apart_from_shadow,
    by_crinkles,
    by_hue,
    may_be_shade,
    plainest,
    within_silhouette,
    without_hue,
)

_FLOOR_EVERY = 6
"""Of so many pictures one is looked at for the floor's hue."""
_WHATEVER_CASTS_IT = 0.16
"""Off the card's size, as shares, where a boat lies beside what may be its shadow: that may spoil its edge."""
_FAR_OFF_CARD = 0.3
"""What a silhouette is off by if learning it surely comes to no boat of the card's size: others are tried first."""


def look_of(
    grey: StoredFilm, pictures: Mapping[int, Grey], plane: Plane, known: Ground, *, card: Card, floor_share: float
) -> Look | str:
    """The boat's look, learnt from where its light differs from the water's.

    If that is not of the card's size (a shadow beside the boat, a sail), or not plain, or may be the boat's shadow, the
    boat is looked for as a thing brighter than the floor, as one without hue on a coloured floor, by its hue, and by
    its crinkles. One that has the very light which its shadow leaves is looked at in single colours.
    """
    with grey.at_hand(pictures):
        tries = _Tries(Scene(grey, plane, known, card, floor_share), pictures)
        first = glance(pictures, plane, known)
        return _otherwise(tries, first, first) if isinstance(first, str) else _plainest(tries, first)


class _Tries:
    """The ways that are tried, and what came of them."""

    def __init__(self, scene: Scene, pictures: Mapping[int, Grey]) -> None:
        self.scene, self.pictures = scene, pictures
        self.looks: list[Look] = []
        self.later: list[tuple[StoredFilm, Survey]] = []
        """Silhouettes far from the card's size; they are learnt if nothing else is plain."""

    @cached_property
    def floor(self) -> tuple[float, float] | None:
        """The floor's hue, if it has one."""
        numbers = sorted(self.pictures)[::_FLOOR_EVERY]
        return floor_hue(self.scene.grey.in_colour(numbers).values(), self.scene.known.tank)

    def learnt(self, film: StoredFilm, found: Survey) -> Look | str:
        """The look of what was found, unless it is to wait."""
        if self.scene.off(found) > _FAR_OFF_CARD:
            self.later.append((film, found))
            return "what stands out is not of the boat's size"
        return self.scene.learnt(film, found)

    def learn_later(self) -> None:
        """Of what had to wait."""
        self.looks += [self.scene.learnt(film, found) for film, found in self.later]

    def plain(self, off_card: float = OFF_CARD) -> list[Look]:
        """The looks that are of the card's size, but for so much, and seen all round."""
        return [look for look in self.looks if look.is_plain(self.scene.card, off_card)]

    def nearest(self, looks: list[Look], otherwise: Look | str) -> Look | str:
        """The one of these whose size is nearest to the card's."""
        return min(looks, key=lambda look: look.off(self.scene.card), default=otherwise)

    def brighter_or_by_hue(self, in_grey: Sought | str) -> Look | None:
        """Adds what is brighter than the floor, without hue on a coloured one, or of another hue; one that is plain."""
        for way in (partial(self._brighter, in_grey), self._without_hue):
            if isinstance(look := way(), Look):
                if look.is_plain(self.scene.card):
                    return look
                self.looks.append(look)
        self.looks += by_hue(self.scene)
        return None

    def _brighter(self, in_grey: Sought | str) -> Look | str:
        bright = posed(in_grey, self.scene.plane, self.scene.known, is_bright=True)
        return bright if isinstance(bright, str) else self.learnt(self.scene.grey, bright)

    def _without_hue(self) -> Look | None:
        return None if self.floor is None else without_hue(self.scene, self.floor)

    def by_crinkles(self) -> Look | None:
        """Adds what is found by its crinkles and edges; the one that is surely the boat."""
        if self.floor is None:
            return None
        sure, others = by_crinkles(self.scene, self.floor)
        self.looks += others
        return sure


def _plainest(tries: _Tries, first: Glance) -> Look | str:
    """Light first, in grey or a colour; the other ways where that does not do."""
    scene = tries.scene
    in_grey = cache(partial(sought, scene.grey, scene.plane, scene.known, first))
    film, found = plainest(scene, first, in_grey)
    if isinstance(found, str):
        return _otherwise(tries, found, in_grey())
    look = tries.learnt(film, found)
    if isinstance(look, str):
        return _otherwise(tries, look, in_grey(), (film, found))
    is_dim, has_size = doubts.is_dim(look.learnt), not look.misses_card(scene.card)
    if has_size and may_be_shade(scene, film, found):
        return _what_casts_it(tries, look, in_grey(), is_dim=is_dim)
    if apart := apart_from_shadow(scene, look, first):
        return apart
    if has_size and not is_dim:
        return look
    tries.looks.append(look)
    return _otherwise(tries, look, in_grey(), (film, found))


def _otherwise(
    tries: _Tries, look: Look | str, in_grey: Sought | str, larger: tuple[StoredFilm, Survey] | None = None
) -> Look | str:
    """The look by another way than light alone, if one shows the boat better; `larger` may be more than the boat."""
    if sure := tries.brighter_or_by_hue(in_grey):
        return sure
    if not tries.plain():
        if larger and (inner := within_silhouette(tries.scene, larger[1], *larger)):
            return inner
        tries.learn_later()
    if not tries.plain() and (sure := tries.by_crinkles()):
        return sure
    return tries.nearest(tries.looks, look)


def _what_casts_it(tries: _Tries, look: Look, in_grey: Sought | str, *, is_dim: bool) -> Look | str:
    """The look of what casts the shadow that this may be; this one if there is nothing else."""
    if sure := tries.brighter_or_by_hue(in_grey):
        return sure
    if not tries.plain(_WHATEVER_CASTS_IT):
        tries.learn_later()
    plain = tries.plain(_WHATEVER_CASTS_IT)
    if plain or not is_dim:
        return tries.nearest(plain, look)
    if sure := tries.by_crinkles():
        return sure
    return tries.nearest([*tries.looks, look], look)
