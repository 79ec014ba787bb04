"""Where on a boat its tag sits: the hull is learnt around the known poses of the tag, and the two are compared.

The tag says where it is in every picture, to a small part of a millimetre; what nobody has measured is where the
waterline's centroid lies from it. So a few pictures are taken from all over the run, the print is painted over in the
deck's own grey, the boat's outline is learnt as that of any boat (learning.py), and its places are compared with the
tag's. What is then left over between them says how well it is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.vision import background, doubts, outline
from logger.vision.background import Grey
from logger.vision.learning import Card, Learnt, learn
from logger.vision.light import PLAIN
from logger.vision.plane import Plane
from logger.vision.silhouette import Shape, on_plane, silhouette
from logger.vision.survey import USUAL_FLARE, Survey, deck_from

Floats = NDArray[np.float64]

_MOST_COUNT, _FEWEST_COUNT = 12, 3
_APART_SHARE = 0.12
"""Pictures whose places are nearer than this share of the length show the same again."""
_RAYS_COUNT = 44
_ROOM = 0.75
"""The boat lies within this share of its length around the tag, and some pixels."""
_ROOM_PX = 12.0
_PAINTED = 1.12
"""So much larger than the paper is what is painted over."""
_FAINT_GREY = 30.0
_SCATTER_MM, _TURN_RAD = 2.0, np.radians(2.5)
"""More scatter between tag and hull than this (median from median) is no measurement."""
_OFF_CARD = 0.07
"""By this share and not more the outline's size may be off the card's."""
_LASTING = 0.5
"""Share of the scatter that may be the same in all pictures."""
_LEAST_ELONGATION = 1.15


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """The hull as the tag sees it: in the tag's frame, x forward, y to the left."""

    centroid_mm: tuple[float, float]
    """Of the waterline."""
    turn_rad: float
    """From the tag's arrow anticlockwise to the bow; 0 where the outline has no long axis."""
    u_along_mm: float
    u_across_mm: float
    u_turn_rad: float | None
    """None: the outline does not tell which way it points."""
    outline_mm: Floats
    """(M, 2) waterline in the boat's frame."""
    u_outline_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The tag in N pictures."""

    pictures: Mapping[int, Grey]
    place_mm: Mapping[int, Floats]
    heading_rad: Mapping[int, float]
    paper_mm: float
    """Half the side, or the radius, of the white paper."""
    is_round: bool


def seat(seen: Seen, tag_plane: Plane, deck_plane: Plane, card: Card, *, depth_share: float) -> Seat | str:
    """How the hull lies around the tag; a sentence if its outline is not seen well enough.

    Args:
        seen: the tag in pictures from all over the run.
        tag_plane: of the print.
        deck_plane: z = freeboard.
        card: with the boat's length.
        depth_share: as for `learn`.
    """
    length = card.length_mm
    if length is None:
        return "the boat card says no length"
    numbers = _spread(seen, _APART_SHARE * length)
    if len(numbers) < _FEWEST_COUNT:
        return "the boat does not come far enough for its outline to be told from the floor"
    found = _survey(seen, numbers, tag_plane, deck_plane, length)
    if isinstance(found, str):
        return found
    learnt = learn(
        found.pictures, found.water, deck_plane, polygon_mm=found.polygon_mm, place_mm=found.place_mm,
        heading_rad=found.heading_rad, card=card, depth_share=depth_share, is_faint=found.contrast < _FAINT_GREY,
        tone=found.tone, rays_count=_RAYS_COUNT,
    )  # fmt: skip
    if complaints := doubts.flags(card, learnt, deck_plane, found):
        return complaints[0]
    return _compared(seen, found, learnt, deck_plane, card)


def _spread(seen: Seen, apart_mm: float) -> list[int]:
    """Pictures whose places are apart from one another, as many as are wanted."""
    kept: list[int] = []
    for number in sorted(n for n in seen.pictures if n in seen.place_mm):
        if all(np.hypot(*(seen.place_mm[number] - seen.place_mm[other])) > apart_mm for other in kept):
            kept.append(number)
    if len(kept) > _MOST_COUNT:
        kept = [kept[k] for k in np.unique(np.linspace(0, len(kept) - 1, _MOST_COUNT).round().astype(int))]
    return kept


def _survey(seen: Seen, numbers: list[int], tag_plane: Plane, deck_plane: Plane, length_mm: float) -> Survey | str:
    """What the sparse pass over an untagged film would have found."""
    radius = _ROOM * length_mm / deck_plane.step_mm(deck_plane.foot_mm) + _ROOM_PX
    places = np.array([seen.place_mm[n] for n in numbers])
    spots = [(float(u), float(v)) for u, v in tag_plane.pixels(places)]
    raw = [seen.pictures[n] for n in numbers]
    rough = background.median(np.stack([p[::4, ::4] for p in raw]))
    lights = [background.light_of(p[::4, ::4], rough) for p in raw]
    empty = background.away_from_boat(raw, lights, [(u, v, radius) for u, v in spots])
    with np.errstate(all="ignore"):
        noise = max(0.7, 1.4826 * float(np.nanmedian(np.abs(raw[len(raw) // 2][::5, ::5] - empty[::5, ::5]))))
    shapes: list[tuple[int, Shape, float]] = []
    painted = {n: _painted(seen, n, tag_plane) for n in numbers}
    for number, spot, light in zip(numbers, spots, lights, strict=True):
        one = silhouette(painted[number], empty, centre_px=spot, radius_px=radius, noise=noise, light=light)
        if one is not None:
            shape = on_plane(one, deck_plane)
            size = outline.extents(outline.turned(shape.polygon_mm - shape.centre_mm, -seen.heading_rad[number]))
            if 0.75 < size[0] / length_mm < 1.35:
                shapes.append((number, shape, one.contrast))
    if len(shapes) < _FEWEST_COUNT:
        return "the boat's outline does not stand out from the floor"
    middle = float(np.median([shape.area_mm2 for _, shape, _ in shapes]))
    shapes = [item for item in shapes if 0.75 * middle < item[1].area_mm2 < 1.33 * middle]
    if len(shapes) < _FEWEST_COUNT:
        return "the boat's outline is seen differently in each picture"
    heading = np.array([seen.heading_rad[n] for n, _, _ in shapes])
    taper = USUAL_FLARE + deck_plane.z_mm / deck_plane.height_mm
    polygon, place = deck_from([shape for _, shape, _ in shapes], heading, deck_plane, taper=taper)
    return Survey(
        np.array([n for n, _, _ in shapes], np.int64), [painted[n] for n, _, _ in shapes], empty, noise,
        float(np.median([c for _, _, c in shapes])), place, heading, polygon, tone=PLAIN,
    )  # fmt: skip


def _painted(seen: Seen, number: int, plane: Plane) -> Grey:
    """The picture with the paper in the grey that is around it."""
    picture = seen.pictures[number].copy()
    place, heading = seen.place_mm[number], seen.heading_rad[number]
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False) if seen.is_round else np.pi / 4 + np.arange(4) * np.pi / 2
    reach = seen.paper_mm * (1.0 if seen.is_round else np.sqrt(2))
    ring = np.column_stack([np.cos(turn + heading), np.sin(turn + heading)]) * reach
    inner, outer = (np.round(plane.pixels(place + ring * k)).astype(np.int32) for k in (_PAINTED, _PAINTED + 0.18))
    left, top = np.maximum(outer.min(axis=0), 0)
    right, bottom = np.minimum(outer.max(axis=0) + 1, picture.shape[::-1])
    if right <= left or bottom <= top:
        return picture
    window = picture[top:bottom, left:right]
    masks = []
    for polygon in (inner, outer):
        mask = np.zeros(window.shape, np.uint8)
        cv2.fillConvexPoly(mask, polygon - (left, top), 1)
        masks.append(mask > 0)
    around = window[masks[1] & ~masks[0]]
    if around.size:
        window[masks[0]] = np.uint8(np.median(around))
    return picture


def _compared(seen: Seen, found: Survey, learnt: Learnt, deck_plane: Plane, card: Card) -> Seat | str:
    """The hull's places in the tag's frame, picture by picture."""
    numbers = found.numbers.tolist()
    on_water = deck_plane.lowered(learnt.place_mm, learnt.hull.freeboard_mm)
    heading = np.array([seen.heading_rad[n] for n in numbers])
    away = on_water - np.array([seen.place_mm[n] for n in numbers])
    c, s = np.cos(heading), np.sin(heading)
    own = np.column_stack([c * away[:, 0] + s * away[:, 1], c * away[:, 1] - s * away[:, 0]])
    middle = np.median(own, axis=0)
    spread = 1.4826 * np.median(np.abs(own - middle), axis=0)
    waterline = learnt.hull.waterline(deck_plane.height_mm)
    size = outline.extents(waterline)
    for value, told in zip(size, (card.length_mm, card.width_mm), strict=True):
        if told is not None and abs(value / told - 1) > _OFF_CARD:
            return "the outline is not of the size on the boat card"
    turned = np.unwrap(learnt.heading_rad - heading)
    turn = float(np.median(turned))
    u_turn: float | None = float(1.4826 * np.median(np.abs(turned - turn)))
    if size[0] < _LEAST_ELONGATION * size[1]:
        turn, u_turn = 0.0, None
    elif abs(turn) > np.radians(12) or (u_turn or 0.0) > _TURN_RAD:
        return "the outline does not lie along the tag's arrow"
    if spread.max() > _SCATTER_MM:
        return f"the outline and the tag disagree by {spread.max():.0f} mm from picture to picture"
    edges = doubts.shifts(
        deck_plane, card, learnt, contrast=found.contrast, seen=learnt.place_mm[:1], heading_rad=np.zeros(1),
        place_mm=on_water[:1],
    )  # fmt: skip
    along = float(np.hypot(*edges["hull outline, along"][0]))
    across = float(np.hypot(*edges["hull outline, across"][0]))
    # what the deck's height is wrong moves the hull against the tag, one way here and the other there
    u_height = doubts.u_freeboard(learnt, card) / deck_plane.height_mm
    mean_away = np.abs((on_water - deck_plane.foot_mm).mean(axis=0)).max() * u_height
    count = np.sqrt(len(numbers))
    return Seat(
        (float(middle[0]), float(middle[1])), turn,
        float(np.linalg.norm([along, (_LASTING + 1 / count) * spread[0], mean_away])),
        float(np.linalg.norm([across, (_LASTING + 1 / count) * spread[1], mean_away])),
        None if u_turn is None else float(max(u_turn / count, np.radians(0.15))), waterline,
        doubts.u_outline(learnt, deck_plane),
    )  # fmt: skip
