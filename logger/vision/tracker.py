"""The whole measurement of one boat over a stored video.

A recipe: survey a few pictures, learn the boat's look from them, lay that look over every picture, put the result down
with its doubt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.recording.folder import Recording
from logger.vision import colours, doubts, outline
from logger.vision.background import Grey
from logger.vision.card import Card, boat_card
from logger.vision.film import Colour, StoredFilm, one_colour, watched
from logger.vision.fit import Fit
from logger.vision.glance import Glance, glance
from logger.vision.ground import Ground, depth_share, ground
from logger.vision.hueless import BRIGHTNESS, NEARNESS, Hueless, Uncoloured, floor_hue, tells
from logger.vision.hues import PAIRS, hue
from logger.vision.learning import Learnt, learn
from logger.vision.light import ONE_COLOUR, Tone
from logger.vision.plane import Plane
from logger.vision.pursuit import pursue
from logger.vision.stamps import forwards, times_ns
from logger.vision.survey import Survey, in_another, survey
from logger.vision.tagged import track_tagged
from logger.vision.texture import CrinkledFilm
from logger.vision.touch.touches import touches
from logger.vision.track import DOUBTFUL, MEASURED, NotFound, Track
from logger.vision.watch.knocks import doubted

Floats = NDArray[np.float64]

_LEAST_GOOD_SHARE = 0.5
"""Ripples and glints too can be followed for a while; but they do not keep their look."""
_SURELY_SHOWN = 0.4
"""A boat of which less is seen is doubtful."""
_FAINT_GREY = 30.0
"""Contrast, in picture numbers, below which colour is tried."""
_CLEARLY = 1.3
"""How many times the contrast in grey a colour must have."""
_BEHIND = 0.7
"""Share of the best colour's contrast below which another is not surveyed."""


def track_boat(recording: Recording, rig: Rig) -> Track | NotFound:
    """One boat's waterline centroid, heading and outline in every frame that shows it.

    Args:
        recording: with video, stamps and a calibrated view; its card says what boat it is.
        rig: tank, start line and the camera's delay.
    """
    if recording.video is None or recording.stamps is None or recording.view is None:
        return NotFound("the recording has no video with time stamps and a calibrated camera")
    if recording.card.boat.tag is None:
        return _untagged(recording, rig)
    tagged = track_tagged(recording, rig)
    if isinstance(tagged, Track):
        return tagged
    bare = _untagged(recording, rig)
    if isinstance(bare, NotFound):
        return NotFound(f"{tagged.reason}; and without its tag {bare.reason}")
    doubtful = np.full(len(bare.t_ns), DOUBTFUL, np.uint8)
    return replace(bare, quality=doubtful, flags=(f"{tagged.reason}: followed by its outline", *bare.flags))


def _untagged(recording: Recording, rig: Rig) -> Track | NotFound:
    """One boat without looking for a tag on it."""
    if recording.stamps is None or recording.view is None:
        return NotFound("the recording has no video with time stamps and a calibrated camera")
    card = boat_card(recording.card.boat)
    plane = Plane(recording.view, card.freeboard_mm)
    known = ground(rig, plane, recording.card.boat)
    grey, pictures = watched(recording, plane.pixels(np.array(rig.tank.outline_mm)))
    look = _look(grey, pictures, plane, known, card, depth_share(rig.tank, plane))
    if isinstance(look, str):
        return NotFound(look)
    found, learnt = look.found, look.learnt
    if (doubt := doubts.another(card, learnt)) is not None:
        return NotFound(doubt)
    t_s = (recording.stamps.t_ns - recording.stamps.t_ns[0]) / 1e9
    fits = pursue(look.film, plane, found, learnt, t_s=t_s, tank=known.tank)
    if len(fits) < 3:
        return NotFound("the boat's look was learnt, but it is not found again in the pictures")
    numbers = np.array(sorted(fits), np.int64)
    good, among = sum(fit.good for fit in fits.values()), int(numbers[-1] - numbers[0]) + 1
    if good < _LEAST_GOOD_SHARE * among:
        return NotFound(f"what was followed looks like one boat in {good} of {among} pictures only")
    rows = plane.pixels(np.array([fits[n].place_mm for n in numbers]))[:, 1]
    t_ns = times_ns(recording.stamps, rig, numbers, rows)
    kept = forwards(t_ns)
    t_ns, numbers = t_ns[kept], numbers[kept]
    kept = ~doubts.strays(t_ns, np.array([fits[n].place_mm for n in numbers]))
    t_ns, numbers = t_ns[kept], numbers[kept]
    track = _track(
        plane,
        card,
        learnt,
        found,
        t_ns=t_ns,
        numbers=numbers,
        fits=[fits[n] for n in numbers],
        frames_count=len(recording.stamps.t_ns),
    )
    track = doubted(track, look.film.watch, plane, np.array([fits[n].place_mm for n in numbers]))
    deck = Plane(recording.view, learnt.hull.freeboard_mm)
    tank, edge = np.array(rig.tank.outline_mm), learnt.hull.outline()
    return replace(track, touches=touches(track, look.film, deck=deck, tank_mm=tank, outline_mm=edge))


_CRINKLED, _PLAINLY = 20.0, 2.5
"""Contrast of crinkles (texture.py) that only foil and its like have; that of any boat, in noises."""


_HUED, _HUED_PLAINLY = 12.0, 4.0
"""The same of hues (hues.py)."""
_FLOOR_EVERY = 6
"""Of so many pictures one is looked at for the floor's hue."""
_OFF_CARD = 0.08
"""An outline whose length and width are together so far from the card's, as shares, is not all boat."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What one boat looks like in one film."""

    film: StoredFilm
    found: Survey
    learnt: Learnt


def _look(
    grey: StoredFilm, pictures: Mapping[int, Grey], plane: Plane, known: Ground, card: Card, floor_share: float
) -> _Look | str:
    """The boat's look, learnt from where its light differs from the water's.

    If that is not of the card's size (a shadow beside the boat, a sail), or not plain, the boat is looked for as a
    thing without hue on a coloured floor, by its hue, and by its crinkles.
    """
    film, found = _surveyed(grey, pictures, plane, known, card)
    look = found if isinstance(found, str) else _learnt(film, found, plane, card, floor_share)
    is_dim = isinstance(look, str) or doubts.is_dim(look.learnt)
    if not is_dim and _off_card(look, card) < _OFF_CARD:
        return look
    others = [] if isinstance(look, str) else [look]
    floor = floor_hue(grey.in_colour(sorted(pictures)[::_FLOOR_EVERY]).values(), known.tank)
    if floor is not None and (bare := _without_hue(grey, floor, plane, known, card, floor_share)) is not None:
        if _is_plain(bare, card):
            return bare
        others.append(bare)
    for pair in PAIRS:
        hued = survey(grey.made(partial(hue, pair=pair)), plane, known)
        if not isinstance(hued, str) and hued.contrast > max(_HUED, _HUED_PLAINLY * hued.noise):
            others.append(_learnt(grey, in_another(hued, grey, plane, known), plane, card, floor_share))
    if floor is not None and not any(_is_plain(tried, card) for tried in others):
        others += _crinkled(grey, floor, plane, known, card, floor_share)
    return min(others, key=lambda tried: _off_card(tried, card), default=look)


def _is_plain(look: _Look, card: Card) -> bool:
    """Whether it is of the card's size and its edge is seen all round."""
    return _off_card(look, card) < _OFF_CARD and not doubts.shines(look.learnt)


def _without_hue(
    grey: StoredFilm, floor: tuple[float, float], plane: Plane, known: Ground, card: Card, floor_share: float
) -> _Look | None:
    """The look of a boat of foil or white paper on a coloured floor; None if nothing stands out there."""
    if not tells(floor):
        return None
    near = Hueless(floor, keeps_others=True)
    found = survey(grey.made(replace(near, keeps_others=False)), plane, known, by_size=True)
    if isinstance(found, str) or found.contrast < max(_HUED, _HUED_PLAINLY * found.noise):
        return None
    film = grey.made(near)
    look = _learnt(film, in_another(found, film, plane, known), plane, card, floor_share, NEARNESS)
    # a wall has the deck's hue: it hardly tells how high it is
    return replace(look, learnt=replace(look.learnt, sides_covariance=card.sides_covariance()))


def _crinkled(
    grey: StoredFilm, floor: tuple[float, float], plane: Plane, known: Ground, card: Card, floor_share: float
) -> list[_Look]:
    """Looks of a boat that was found by its crinkles and edges: as it is, and without what is coloured."""
    found = survey(CrinkledFilm(grey), plane, known, by_size=True)
    if isinstance(found, str) or found.contrast < _PLAINLY * found.noise:
        return []
    found = replace(found, is_crinkled=found.contrast > _CRINKLED)
    films: list[tuple[StoredFilm, Tone | None]] = [(grey, None), (grey.made(Uncoloured(floor)), BRIGHTNESS)]
    return [
        _learnt(film, in_another(found, film, plane, known), plane, card, floor_share, tone) for film, tone in films
    ]


def _learnt(
    film: StoredFilm, found: Survey, plane: Plane, card: Card, floor_share: float, tone: Tone | None = None
) -> _Look:
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
    return _Look(film, found, replace(learnt, is_crinkled=found.is_crinkled))


def _off_card(look: _Look | str, card: Card) -> float:
    """How far the learnt length and width are from the card's, as shares; 0 where the card says nothing."""
    if isinstance(look, str):
        return np.inf
    size = outline.extents(look.learnt.hull.outline())
    return sum(abs(a / b - 1) for a, b in zip(size, (card.length_mm, card.width_mm), strict=True) if b)


def _surveyed(
    grey: StoredFilm, pictures: Mapping[int, Grey], plane: Plane, known: Ground, card: Card
) -> tuple[StoredFilm, Survey | str]:
    """The film in which the boat is plainest, with its survey.

    A yellow boat may be as bright as the floor and yet be plain to see in blue. Colour costs time, so grey comes first.
    """
    first = glance(pictures, plane, known)
    if isinstance(first, str):
        return grey, first
    in_grey = None if first.contrast < _FAINT_GREY else survey(grey, plane, known, first)
    clearness = 0.0 if in_grey is None else _clearness(in_grey, card)
    if clearness < _FAINT_GREY:
        enough = _CLEARLY * (first.contrast if in_grey is None else clearness)
        looks = _in_colour(grey, sorted(first.pictures), plane, known, enough=enough)
        surveys = [(film, survey(film, plane, known, look)) for film, look in looks]
        best = max(surveys, key=lambda seen: _clearness(seen[1], card), default=None)
        if best is not None and _clearness(best[1], card) > _CLEARLY * clearness:
            return best
    return grey, survey(grey, plane, known, first) if in_grey is None else in_grey


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


def _track(
    plane: Plane,
    card: Card,
    learnt: Learnt,
    found: Survey,
    *,
    t_ns: NDArray[np.int64],
    numbers: NDArray[np.int64],
    fits: list[Fit],
    frames_count: int,
) -> Track:
    """Everything put down with its doubt, brought from the deck's plane to the water."""
    seen = np.array([f.place_mm for f in fits])
    heading = np.array([f.heading_rad for f in fits])
    place = plane.lowered(seen, learnt.hull.freeboard_mm)
    covariance = np.array([f.covariance for f in fits])
    flags = doubts.flags(card, learnt, plane, found)
    certain = np.array([f.good and f.agreeing > _SURELY_SHOWN for f in fits]) & ~doubts.leaps(t_ns, place) & (not flags)
    shifts = doubts.shifts(plane, card, learnt, contrast=found.contrast, seen=seen, heading_rad=heading, place_mm=place)
    return Track(
        t_ns=t_ns,
        x_mm=place[:, 0],
        y_mm=place[:, 1],
        heading_rad=heading,
        noise_mm2=covariance[:, :2, :2],
        u_heading_rad=np.sqrt(covariance[:, 2, 2]),
        quality=np.where(certain, MEASURED, DOUBTFUL).astype(np.uint8),
        frame=numbers,
        outline_mm=learnt.hull.waterline(plane.height_mm),
        u_outline_mm=doubts.u_outline(learnt, plane, card, is_grey=found.tone is not ONE_COLOUR),
        shifts_mm=shifts,
        frames_seen_count=frames_count,
        flags=flags,
    )
