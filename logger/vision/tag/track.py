"""From poses of the print to the track of the boat that carries it.

The print's middle, at its own height, is a point of the tank frame; the bow lies as far ahead of it as the card says.
The centroid of the waterline lies behind the bow by a share of the length, which differs from hull to hull (card.py).
Unless the hull is seen around the tag the middle of the usual range is taken and its whole width is doubt.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from logger.config import Boat, Tag
from logger.vision.card import bow_share, is_round
from logger.vision.outline import moments
from logger.vision.plane import Plane
from logger.vision.tag.seat import Seat
from logger.vision.track import DOUBTFUL, MEASURED, Track

Floats = NDArray[np.float64]

_LENGTH_MM, _U_LENGTH_MM, _SLENDER = 180.0, 50.0, 2.4
"""What is taken where the card says no length; length over width where it says no width."""
_U_HALFWAY = 0.06
"""A tag that is told to sit halfway sits there within this share of the length."""
_U_LEAN_RAD = np.radians(0.5)
"""A boat at rest may lean that much either way (common practice, no source): what is high up is then aside."""
_FASTEST_MM_PER_S = 3000.0
_JUMP_MM, _JUMP_TIMES = 5.0, 6.0
"""A fix so far from where its neighbours on both sides say, and by so many of its own uncertainties, is doubtful."""
_WINDOW_S = 0.35
"""Half of the time over which a boat's way is a parabola."""
_BESIDE_S = 0.11
"""Half of the time over which even a boat that is let go or hits a wall moves smoothly."""
_AT_ONCE_COUNT = 512
"""So many parabolas are laid together."""
_ROCKING_MOST_MM = 4.0
_GUESSED_MM = 3.0
"""A centroid that was only guessed to this is told as doubtful."""
_GUESSED = "the waterline was not seen around the tag: where its centroid lies is guessed from the boat card's length"
_HARDLY_SEEN = "the boat's outline is hardly seen around the tag: where its centroid lies is uncertain"
_U_REACH_SHARE = 0.03
"""How far an outline that nobody has seen may be off, as a share of the width."""


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """Where the middle of the print was, in N pictures in order."""

    frame: NDArray[np.int64]
    """(N,) number of the picture in the recording, from 0."""
    t_ns: NDArray[np.int64]
    """(N,) when, at the picture row of its middle."""
    place_mm: Floats
    """(N, 2) on the plane of the print."""
    heading_rad: Floats
    """(N,) continuous."""
    covariance: Floats
    """(N, 3, 3) of x, y (mm) and heading (rad), random part."""
    doubtful: NDArray[np.bool_]
    """(N,) what should not be relied on."""
    plane: Plane
    frames_count: int
    """How many pictures were looked at."""
    notes: tuple[str, ...] = ()
    """What is to be said, though nothing is wrong."""
    flags: tuple[str, ...] = ()
    """Doubts that make all of it doubtful."""


@dataclass(frozen=True, slots=True)
class Middle:
    """Where the centroid of the waterline lies, and how far that may be off."""

    behind_mm: float
    """Behind the print's middle, along the boat (negative: ahead of it)."""
    right_mm: float
    """To the right of the print's middle."""
    bow_mm: float
    """From the centroid forward to the bow."""
    u_along_mm: Mapping[str, float] = field(default_factory=dict)
    """Source -> standard uncertainty along the boat."""
    u_across_mm: Mapping[str, float] = field(default_factory=dict)
    turn_rad: float = 0.0
    """From the print's arrow to the bow."""
    u_turn_rad: float | None = None
    """None: as the card says."""


def middle_of(boat: Boat, tag: Tag) -> Middle:
    """What the card says of where the centroid is."""
    length, u_length = (boat.length_mm, boat.u_length_mm) if boat.length_mm else (_LENGTH_MM, _U_LENGTH_MM)
    share, u_share = bow_share(boat)
    bow = share * length
    along = {"waterline centroid": float(np.hypot(u_share * length, share * u_length))}
    if tag.bow_ahead_mm is None:
        # halfway along: the length cancels all but its excess over half
        ahead = length / 2
        along = {
            "waterline centroid": float(np.hypot(u_share * length, abs(share - 0.5) * u_length)),
            "place of the tag": _U_HALFWAY * length,
        }
    else:
        ahead = tag.bow_ahead_mm
        along["tag to bow"] = tag.u_bow_ahead_mm
    return Middle(bow - ahead, tag.left_mm, bow, along, {"place of the tag, across": tag.u_left_mm})


def outline_of(boat: Boat, bow_mm: float) -> Floats:
    """(M, 2) a usual waterline of the card's size with its bow `bow_mm` ahead of its centroid, anticlockwise."""
    length = boat.length_mm or _LENGTH_MM
    width = boat.width_mm or length / _SLENDER
    if is_round(length, width):
        turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        return np.column_stack([bow_mm * np.cos(turn), width / 2 * np.sin(turn)])
    low, high = 0.0, 1.0
    for _ in range(30):
        straight = (low + high) / 2
        shape = _boat_shape(length, width, straight)
        reach = shape[:, 0].max() - moments(shape)[1][0]
        low, high = (straight, high) if reach > bow_mm else (low, straight)
    shape = _boat_shape(length, width, straight)
    shifted: Floats = shape - (shape[:, 0].max() - bow_mm, 0.0)
    return shifted


def _boat_shape(length_mm: float, width_mm: float, straight: float) -> Floats:
    """(M, 2) sides parallel over that share of the length from the stern, then curved in to the bow."""
    s = np.linspace(0, 1, 24)
    x = -0.5 + straight + (1 - straight) * s
    y = 0.5 * (1 - s**2.2)
    right = np.vstack([[-0.5, -0.5], np.column_stack([x, -y])])
    left = right[::-1] * (1, -1)
    polygon: Floats = np.vstack([right, left[1:]]) * (length_mm, width_mm)
    return polygon


def seated(seat: Seat) -> Middle:
    """The centroid where the learnt hull has it; its doubt is the seat's."""
    forward, left = seat.centroid_mm
    return Middle(-forward, -left, float(seat.outline_mm[:, 0].max()), {}, {}, seat.turn_rad, seat.u_turn_rad)


def raised(poses: Poses, z_mm: float) -> Poses:
    """The same poses of a print that lies at another height."""
    plane = replace(poses.plane, z_mm=z_mm)
    return replace(poses, plane=plane, place_mm=poses.plane.lowered(poses.place_mm, z_mm))


def track_of(poses: Poses, boat: Boat, tag: Tag, seat: Seat | None = None) -> Track:
    """The boat's track, with its doubt.

    Args:
        poses: of the print, at the seat's height.
        boat: its card.
        tag: with a height.
        seat: how the hull lies around the tag, if it was seen; else the card must do.
    """
    middle = middle_of(boat, tag) if seat is None else seated(seat)
    heading = poses.heading_rad + middle.turn_rad
    ahead = np.column_stack([np.cos(heading), np.sin(heading)])
    left = np.column_stack([-np.sin(heading), np.cos(heading)])
    arm = -middle.behind_mm * ahead - middle.right_mm * left
    place = poses.place_mm + arm
    by_turn = np.column_stack([-arm[:, 1], arm[:, 0]])
    noise = _carried(poses.covariance, by_turn) + _rocking(poses)
    by_card = np.radians(tag.u_turn_deg) if tag.kind == "square" else 0.0
    u_turn = by_card if middle.u_turn_rad is None else middle.u_turn_rad
    flags = poses.flags
    if seat is None:
        moved = _by_card(poses, tag, middle, ahead, left) | ({"tag turn": by_turn * by_card} if by_card else {})
        if float(np.linalg.norm([*middle.u_along_mm.values()])) > _GUESSED_MM:
            flags += (_GUESSED,)
    else:
        # the hull was laid around the print: the print's turn against it moves nothing
        moved = _by_seat(poses, seat, boat, ahead, left)
        flags += seat.flags
        if float(np.sqrt(np.linalg.eigvalsh(seat.covariance[1:, 1:])[-1])) > _GUESSED_MM:
            flags += (_HARDLY_SEEN,)
    doubtful = poses.doubtful | leaps(poses.t_ns, place) | strays(poses) | bool(flags)
    width = boat.width_mm or _LENGTH_MM / _SLENDER
    guessed = float(np.hypot(tag.u_bow_ahead_mm, _U_REACH_SHARE * width))
    return Track(
        t_ns=poses.t_ns,
        x_mm=place[:, 0],
        y_mm=place[:, 1],
        heading_rad=heading,
        noise_mm2=noise,
        u_heading_rad=np.hypot(np.sqrt(poses.covariance[:, 2, 2]), u_turn),
        quality=np.where(doubtful, DOUBTFUL, MEASURED).astype(np.uint8),
        frame=poses.frame,
        outline_mm=outline_of(boat, middle.bow_mm) if seat is None else seat.outline_mm,
        u_outline_mm=guessed if seat is None else seat.u_outline_mm,
        shifts_mm=moved | _by_view(poses),
        frames_seen_count=poses.frames_count,
        flags=flags + poses.notes,
    )


def _carried(covariance: Floats, by_turn: Floats) -> Floats:
    """(N, 2, 2) of the centroid, from that of the print's place and heading."""
    N = len(covariance)
    lever = np.zeros((N, 2, 3))
    lever[:, 0, 0] = lever[:, 1, 1] = 1.0
    lever[:, :, 2] = by_turn
    carried: Floats = lever @ covariance @ np.swapaxes(lever, 1, 2)
    return carried


def _by_card(poses: Poses, tag: Tag, middle: Middle, ahead: Floats, left: Floats) -> dict[str, Floats]:
    """By how much all fixes (N, 2) move if one thing on the card is off by one standard uncertainty."""
    plane, seen = poses.plane, poses.place_mm
    moved = {"tag height": plane.lowered(seen, plane.z_mm + tag.u_height_mm) - seen}
    moved |= _leaning(plane.z_mm, ahead, left)
    moved |= {name: u * ahead for name, u in middle.u_along_mm.items()}
    return moved | {name: u * left for name, u in middle.u_across_mm.items()}


def _by_seat(poses: Poses, seat: Seat, boat: Boat, ahead: Floats, left: Floats) -> dict[str, Floats]:
    """The same of the height and the arrow to the centroid, which were found together: three that are independent."""
    plane, seen = poses.plane, poses.place_mm
    by_height = plane.lowered(seen, plane.z_mm + 1.0) - seen
    parts = np.linalg.cholesky(seat.covariance + 1e-9 * np.eye(3)).T
    names = ("tag height", "waterline centroid", "waterline centroid, across")
    moved = {
        name: by_height * part[0] + ahead * part[1] + left * part[2] for name, part in zip(names, parts, strict=True)
    }
    return moved | _leaning(boat.freeboard_mm or plane.z_mm, ahead, left)


def _leaning(height_mm: float, ahead: Floats, left: Floats) -> dict[str, Floats]:
    """What is so high up is aside of the waterline if the boat leans."""
    lean = height_mm * float(np.tan(_U_LEAN_RAD))
    return {"lean, along": lean * ahead, "lean, across": lean * left}


def _by_view(poses: Poses) -> dict[str, Floats]:
    """The same if the calibrated camera is off."""
    pixels = poses.plane.pixels(poses.place_mm)
    varied = poses.plane.view.varied().items()
    return {name: view.to_plane(pixels, z_mm=poses.plane.z_mm) - poses.place_mm for name, view in varied}


def leaps(t_ns: NDArray[np.int64], place: Floats) -> NDArray[np.bool_]:
    """(N,) fixes on either side of a step that no boat makes."""
    step = np.hypot(*np.diff(place, axis=0).T) > _FASTEST_MM_PER_S * np.diff(t_ns) / 1e9 + 1.0
    return np.asarray(np.append(step, False) | np.append(False, step), np.bool_)


def _apart(poses: Poses, window_s: float, least_count: int) -> Floats:
    """(N, 2) each place less what a parabola through its neighbours in time says; NaN where there are too few."""
    t = (poses.t_ns - poses.t_ns[0]) / 1e9
    found = np.full((len(t), 2), np.nan)
    first = np.searchsorted(t, t - window_s)
    last = np.searchsorted(t, t + window_s, side="right")
    numbers = np.arange(len(t))
    told = np.flatnonzero((last - first > least_count) & (numbers > first) & (numbers < last - 1))
    for start in range(0, len(told), _AT_ONCE_COUNT):
        some = told[start : start + _AT_ONCE_COUNT]
        at = first[some, None] + np.arange((last - first)[some].max(initial=0))
        is_near = (at < last[some, None]) & (at != some[:, None])
        at = np.minimum(at, len(t) - 1)
        since = t[at] - t[some, None]
        # of a parabola's numbers only the one at the moment itself is wanted: the last
        base, upper = np.linalg.qr(np.stack([since**2, since, np.ones_like(since)], axis=-1) * is_near[..., None])
        seen = np.where(is_near[..., None], poses.place_mm[at], 0.0)
        found[some] = poses.place_mm[some] - (base[..., 2:] * seen).sum(axis=1) / upper[:, 2, 2, None]
    return found


def strays(poses: Poses) -> NDArray[np.bool_]:
    """(N,) fixes that lie far from where their neighbours say."""
    apart = np.nan_to_num(np.hypot(*_apart(poses, _BESIDE_S, 4).T))
    u = np.sqrt(np.trace(poses.covariance[:, :2, :2], axis1=1, axis2=2))
    return np.asarray(apart > np.maximum(_JUMP_MM, _JUMP_TIMES * u), np.bool_)


def _rocking(poses: Poses) -> Floats:
    """(N, 2, 2) what a boat that rolls and pitches adds: the print stands above the water and swings with it.

    Seen as the restlessness of the track that the fits do not explain; half of it again hides in the parabolas.
    """
    apart = _apart(poses, _WINDOW_S, 6)
    known = np.isfinite(apart).all(axis=1) & ~poses.doubtful
    found = np.zeros((len(apart), 2, 2))
    if known.sum() < 10:
        return found
    c, s = np.cos(poses.heading_rad), np.sin(poses.heading_rad)
    ways = np.stack([np.column_stack([c, s]), np.column_stack([-s, c])], axis=1)
    own = np.einsum("nij,nj->ni", ways, apart)[known]
    random = np.einsum("nij,njk,nik->ni", ways, poses.covariance[:, :2, :2], ways)[known].mean(axis=0)
    spread = np.minimum(1.4826 * np.median(np.abs(own), axis=0), _ROCKING_MOST_MM)
    excess = 1.5**2 * np.maximum(spread**2 - random, 0.0)
    return np.asarray(np.einsum("nij,i,nik->njk", ways, excess, ways), np.float64)
