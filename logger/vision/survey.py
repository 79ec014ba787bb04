"""The sparse pass: a few dozen pictures of the run, the empty tank, and the boat's rough poses and outline in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from logger.vision import background, outline, sightings
from logger.vision.background import Grey, Mask
from logger.vision.glance import Glance, Pictures, evenly, glance
from logger.vision.ground import SHRINK, Ground
from logger.vision.light import PLAIN, Tone
from logger.vision.likeness import Likeness
from logger.vision.plane import Plane, Singles
from logger.vision.sightings import Sighting
from logger.vision.silhouette import Shape, on_plane, silhouette

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_MORE_COUNT = 16
_AT_REST_COUNT = 4
"""So many pictures of one and the same place are enough."""
_CORE_PX = 5
_ENOUGH_WHOLE_COUNT = 6
_OFF_COURSE = 0.4
"""So far, in boat lengths, no boat is from the straight way between two places shortly before and after."""
_NOTHING = "nothing of a boat's size stands out from the empty tank"
USUAL_FLARE = 0.015
"""By how much a deck is usually larger than the waterline, as a share."""


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """What the sparse pass found. N pictures in which the boat was seen, in order of time."""

    numbers: Whole
    pictures: list[Grey]
    empty: Singles
    """The empty tank, picture numbers, full size; NaN where unknown."""
    noise: float
    """Standard deviation of one pixel, grey levels."""
    contrast: float
    """Typical difference between boat and water, grey levels."""
    place_mm: Floats
    """(N, 2) centroid of the silhouette on the plane."""
    heading_rad: Floats
    polygon_mm: Floats
    """(M, 2) typical silhouette, boat frame."""
    is_crinkled: bool = False
    """Whether the boat was found by its crinkles, not by its light."""
    tone: Tone = PLAIN
    """What light the numbers in the film stand for at the boat's edge."""

    @property
    def water(self) -> Singles:
        """The light of the empty tank; NaN where unknown."""
        return self.tone.light_between(self.empty)


@dataclass(frozen=True, slots=True, eq=False)
class Sought:
    """Where the boat roughly is in some pictures, and the empty tank. N pictures in which it may be."""

    pictures: dict[int, Grey]
    """By number, in order of time."""
    spots_px: list[tuple[float, float]]
    """(u, v) for each."""
    radius_px: float
    """So far around a spot the boat may reach."""
    empty: Singles
    lights: list[float]
    """How much brighter than the empty tank each is."""
    by_size: bool


def survey(
    film: Pictures,
    plane: Plane,
    ground: Ground,
    first: Glance | str | None = None,
    *,
    by_size: bool = False,
) -> Survey | str:
    """The sparse pass over `film`; a sentence if no boat is found.

    Args:
        film: what was filmed.
        plane: z = freeboard on the card.
        ground: what is known before anything is seen.
        first: the first look at the film, if it was taken already.
        by_size: whether things of the card's size are preferred to stronger ones (likeness.py).
    """
    return posed(sought(film, plane, ground, first, by_size=by_size), plane, ground)


def sought(
    film: Pictures, plane: Plane, ground: Ground, first: Glance | str | None = None, *, by_size: bool = False
) -> Sought | str:
    """The first half of `survey`."""
    looked = first or glance(dict(film.pictures(evenly(film.count))), plane, ground)
    if isinstance(looked, str):
        return looked
    pictures, rows, seen = dict(looked.pictures), dict(looked.rows), looked.seen
    judge = Likeness(plane, ground, looked.empty, looked.noise_grey) if by_size else None
    if judge is not None:
        rows = {n: judge.weighed(sightings.shrunk(pictures[n]), row) for n, row in rows.items()}
        seen = sightings.path([rows[n] for n in sorted(rows)], size_px=looked.size_px)
    if more := _between(sorted(pictures), seen, looked.size_px):
        extra = dict(film.pictures(more))
        pictures |= extra
        found = looked.further(extra, ground)
        if judge is not None:
            found = {n: judge.weighed(sightings.shrunk(extra[n]), row) for n, row in found.items()}
        rows |= found
        seen = sightings.path([rows[n] for n in sorted(rows)], size_px=looked.size_px)
    held = {n: s for n, s in zip(sorted(pictures), seen, strict=True) if s is not None}
    if len(held) < 3:
        return _NOTHING
    radius = _radius_px(plane, ground, looked.size_px)
    spots = [((s.u + 0.5) * SHRINK - 0.5, (s.v + 0.5) * SHRINK - 0.5) for s in held.values()]
    empty, lights = _without_boat([pictures[n] for n in held], spots, radius, ground, looked.empty)
    return Sought({n: pictures[n] for n in held}, spots, radius, empty, lights, by_size)


def _between(numbers: list[int], seen: Sequence[Sighting | None], size_px: float) -> list[int]:
    """Numbers of more pictures where the boat moved most between the ones at hand."""
    known = [(n, s) for n, s in zip(numbers, seen, strict=True) if s is not None]
    steps = [(np.hypot(b.u - a.u, b.v - a.v), n, m) for (n, a), (m, b) in pairwise(known)]
    whole = sum(step for step, _, _ in steps)
    if whole < size_px:
        return []
    more: set[int] = set()
    for step, n, m in steps:
        pieces = min(round(step / (whole / _MORE_COUNT)) + 1, m - n)
        more.update(round(n + (m - n) * k / pieces) for k in range(1, pieces))
    return sorted(more - set(numbers))


def posed(seen: Sought | str, plane: Plane, ground: Ground, *, is_bright: bool = False) -> Survey | str:
    """The second half of `survey`.

    Args:
        seen: the first half.
        plane: as there.
        ground: as there.
        is_bright: whether the boat is brighter than the floor: darker things beside it are then shadows.
    """
    if isinstance(seen, str):
        return seen
    noise = _noise(list(seen.pictures.values()), seen.empty)
    shapes: list[tuple[int, Shape, float]] = []
    for (n, picture), spot, light in zip(seen.pictures.items(), seen.spots_px, seen.lights, strict=True):
        found = silhouette(
            picture, seen.empty, centre_px=spot, radius_px=seen.radius_px, noise=noise, light=light, is_bright=is_bright
        )
        if found is not None:
            shapes.append((n, on_plane(found, plane), found.contrast))
    if len(shapes) < 3:
        return _NOTHING
    if seen.by_size:
        shapes = _on_course(shapes, ground)
    shapes = _apart(_of_one_size(shapes, ground))
    place = np.array([shape.centre_mm for _, shape, _ in shapes])
    heading = headings([shape for _, shape, _ in shapes], place, ground.forward_rad)
    numbers = np.array([n for n, _, _ in shapes], np.int64)
    taper = USUAL_FLARE + plane.z_mm / plane.height_mm
    polygon, place = deck_from([shape for _, shape, _ in shapes], heading, plane, taper=taper)
    return Survey(
        numbers,
        [seen.pictures[n] for n in numbers],
        seen.empty,
        noise,
        float(np.median([c for _, _, c in shapes])),
        place,
        heading,
        polygon,
    )


def _without_boat(
    pictures: Sequence[Grey],
    spots: Sequence[tuple[float, float]],
    radius_px: float,
    ground: Ground,
    guess: Singles,
) -> tuple[Singles, list[float]]:
    """The empty tank, picture numbers, and each picture's light, the boat being within `radius_px` of its spot.

    `guess` is a first idea of the empty tank, reduced.
    """
    rough = background.median(np.stack([p[::SHRINK, ::SHRINK] for p in pictures[::3]]))
    lights = [background.light_of(p[::SHRINK, ::SHRINK], rough) for p in pictures]
    discs = [(u, v, 1.15 * radius_px) for u, v in spots]
    return background.away_from_boat(pictures, lights, discs, _foreign(pictures, guess, ground.start_zone)), lights


def _foreign(pictures: Sequence[Grey], guess: Singles, start_zone: Mask | None) -> list[Mask] | None:
    if start_zone is None:
        return None
    small = [sightings.shrunk(picture) for picture in pictures]
    _, noise = sightings.differences(np.stack(small[:: max(1, len(small) // 4)]), guess)
    return [background.foreign(one, guess, start_zone, noise=noise) for one in small]


def in_another(found: Survey, film: Pictures, plane: Plane, ground: Ground) -> Survey:
    """The same poses and outline with the pictures and the empty tank of another film."""
    pictures = dict(film.pictures([int(n) for n in found.numbers]))
    raw = [pictures[int(n)] for n in found.numbers]
    size = float(np.hypot(*outline.extents(found.polygon_mm))) / plane.step_mm(plane.foot_mm) / SHRINK
    spots = [(float(u), float(v)) for u, v in plane.pixels(found.place_mm)]
    guess = background.first_guess(np.stack([sightings.shrunk(picture) for picture in raw]), ground.start_zone)
    empty, _ = _without_boat(raw, spots, _radius_px(plane, ground, size), ground, guess)
    middles = [_around(picture, spot) - _around(empty, spot) for picture, spot in zip(raw, spots, strict=True)]
    contrast = float(np.nan_to_num(np.median(np.abs(middles))))
    return replace(found, pictures=raw, empty=empty, noise=_noise(raw, empty), contrast=contrast)


def _around(picture: Grey | Singles, spot: tuple[float, float]) -> float:
    """Mean of the square of pixels around a spot; NaN outside the picture."""
    u, v = max(round(spot[0]) - _CORE_PX, 0), max(round(spot[1]) - _CORE_PX, 0)
    core = picture[v : v + 2 * _CORE_PX + 1, u : u + 2 * _CORE_PX + 1]
    return float(core.mean()) if core.size else float("nan")


def _radius_px(plane: Plane, ground: Ground, size_px: float) -> float:
    if ground.longest_mm is not None:
        return 0.62 * ground.longest_mm / plane.step_mm(plane.foot_mm) + 12
    return 1.6 * size_px * SHRINK + 8


def _noise(pictures: list[Grey], empty: Singles) -> float:
    middle = pictures[len(pictures) // 2][::5, ::5]
    with np.errstate(all="ignore"):
        return max(0.7, 1.4826 * float(np.nanmedian(np.abs(middle - empty[::5, ::5]))))


def _apart(shapes: list[tuple[int, Shape, float]]) -> list[tuple[int, Shape, float]]:
    """Without most of the pictures of a boat at rest: they would say the same again and again.

    The first and the last of all stay, so that the film is spanned.
    """
    kept: list[tuple[int, Shape, float]] = []
    here = 0
    if not shapes:
        return kept
    for item in shapes:
        near = bool(kept) and np.hypot(*(item[1].centre_mm - kept[-1][1].centre_mm)) < 0.05 * np.sqrt(item[1].area_mm2)
        here = here + 1 if near else 0
        if here < _AT_REST_COUNT:
            kept.append(item)
    return kept if kept[-1] is shapes[-1] else [*kept, shapes[-1]]


def _on_course(shapes: list[tuple[int, Shape, float]], ground: Ground) -> list[tuple[int, Shape, float]]:
    """Without those that lie far from the straight way between the ones before and after: glints, hands, shadows."""
    kept = list(shapes)
    while ground.longest_mm is not None and len(kept) > _ENOUGH_WHOLE_COUNT:
        number = np.array([n for n, _, _ in kept], np.float64)
        place = np.array([shape.centre_mm for _, shape, _ in kept])
        share = ((number[1:-1] - number[:-2]) / (number[2:] - number[:-2]))[:, None]
        off = np.hypot(*(place[1:-1] - place[:-2] - share * (place[2:] - place[:-2])).T)
        if off.max() < _OFF_COURSE * ground.longest_mm:
            break
        del kept[1 + int(off.argmax())]
    return kept


def _of_one_size(shapes: list[tuple[int, Shape, float]], ground: Ground) -> list[tuple[int, Shape, float]]:
    """Those that show the whole boat: of the size on the card, or else of the usual size.

    Far from the lens's foot point a sail hides half a deck, and a boat may spend most of its time there.
    """
    whole = [item for item in shapes if ground.is_whole(item[1].polygon_mm, item[1].axis_rad)]
    if len(_apart(whole)) >= _ENOUGH_WHOLE_COUNT:
        return whole
    middle = float(np.median([shape.area_mm2 for _, shape, _ in shapes]))
    usual = [item for item in shapes if 0.7 * middle < item[1].area_mm2 < 1.4 * middle]
    return usual if len(usual) >= 3 else shapes


def headings(shapes: Sequence[Shape], place: Floats, forward_rad: float) -> Floats:
    """(N,) continuous headings from the silhouettes' axes; the bow is where the boat goes.

    A round silhouette has no axis: the direction `forward_rad` serves.
    """
    whole = place[-1] - place[0]
    travel = float(np.arctan2(whole[1], whole[0])) if np.hypot(*whole) > 30 else forward_rad
    if np.median([shape.elongation for shape in shapes]) < 1.12:
        return np.full(len(shapes), travel)
    # axes are known up to half a turn: double them to average, then choose the half that goes forward
    heading = np.unwrap([2 * shape.axis_rad for shape in shapes]) / 2
    moved = np.diff(place, axis=0)
    middle = (heading[1:] + heading[:-1]) / 2
    along = float((moved[:, 0] * np.cos(middle) + moved[:, 1] * np.sin(middle)).sum())
    if abs(along) < 10:
        along = float(np.cos(heading - travel).sum())
    turned = heading + (np.pi if along < 0 else 0.0)
    fixed: Floats = turned - 2 * np.pi * np.round((turned[0] - travel) / (2 * np.pi))
    return fixed


def deck_from(shapes: Sequence[Shape], heading: Floats, plane: Plane, *, taper: float) -> tuple[Floats, Floats]:
    """First idea of the deck's outline (M, 2), boat frame, and of its centroids (N, 2), from silhouettes.

    A silhouette is the deck, with the wall where that stands out from the water too. In direction n it reaches
    n·p + deck(n) + wall, the wall's share being known from the plane's height and the taper (hull.py). So places and
    deck follow by turns, by medians; with wall or without, whichever makes all silhouettes agree better.
    """
    angles = np.arange(72) * (2 * np.pi / 72)
    local = np.column_stack([np.cos(angles), np.sin(angles)])
    place = np.array([shape.centre_mm for shape in shapes])
    ways = np.stack([outline.turned(local, turn) for turn in heading])
    extent = np.stack(
        [outline.reach(shape.polygon_mm - at, way) for shape, at, way in zip(shapes, place, ways, strict=True)]
    )
    tries = [
        _settled(extent, ways, away=place - plane.foot_mm, slope=slope, taper=taper)
        for slope in (plane.z_mm / plane.height_mm, 0.0)
    ]
    deck, moved, _ = min(tries, key=lambda tried: tried[2])
    rise = (np.roll(deck, -1) - np.roll(deck, 1)) / (4 * np.pi / 72)
    across = np.column_stack([-local[:, 1], local[:, 0]])
    return outline.convex(deck[:, None] * local + rise[:, None] * across), place + moved


def _settled(extent: Floats, ways: Floats, *, away: Floats, slope: float, taper: float) -> tuple[Floats, Floats, float]:
    """Reach of the deck (72,), moves of the places (N, 2), and the mean size of what is left over, mm."""
    deck = np.median(extent, axis=0)
    moved, left = np.zeros_like(away), extent
    for _ in range(6):
        lever = (ways @ (away + moved)[:, :, None])[..., 0]
        wall = np.maximum(-slope * lever - (taper * deck if slope else 0.0), 0.0)
        # opposite directions carry the place, their sum the size
        moved = 2 * (ways * (extent - wall - deck)[..., None]).mean(axis=1)
        bare = extent - wall - (ways @ moved[:, :, None])[..., 0]
        deck = np.median(bare, axis=0)
        left = bare - deck
    return deck, moved, float(np.abs(left).mean())
