"""The whole measurement of one boat that carries a tag: a square with a number, or a disc."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from logger.config import Boat, Rig, Tag
from logger.recording.folder import Recording
from logger.vision import doubts
from logger.vision.background import Grey
from logger.vision.card import DECK_UNKNOWN_MM, Card, boat_card, tag_of
from logger.vision.film import StoredFilm, watched
from logger.vision.glance import evenly
from logger.vision.ground import Ground, depth_share, ground
from logger.vision.looks import look_of
from logger.vision.plane import Plane
from logger.vision.stamps import forwards, times_ns
from logger.vision.tag.course import headings_of_travel
from logger.vision.tag.fit import TagFit
from logger.vision.tag.gaps import filled, headed
from logger.vision.tag.hull import Around, Usual, learnt_around
from logger.vision.tag.look import Print
from logger.vision.tag.papers import Seen as Shown
from logger.vision.tag.pursuit import Pursuit, pursue
from logger.vision.tag.seat import Seat, seat
from logger.vision.tag.track import Poses, middle_of, outline_of, raised, track_of
from logger.vision.touch.touches import touches
from logger.vision.track import NotFound, Track
from logger.vision.watch.knocks import doubted

Floats = NDArray[np.float64]

_FEWEST_COUNT = 3
_SIZE_OFF, _SIZE_TIMES = 0.04, 3.0
"""A print that seems larger or smaller by this share, and by so many uncertainties, is not as the card says."""
_SMALL_PX = 11.0
"""A print that is hardly wider in the picture is often missed where the water is restless."""
_SELDOM = 0.5
_OTHERS_COUNT = 2
"""So many pictures must show another number before it is believed."""


def track_tagged(recording: Recording, rig: Rig) -> Track | NotFound:
    """The track of the boat whose card tells of a tag.

    Args:
        recording: with video, stamps, a calibrated view, and a tag on its card.
        rig: tank and the camera's delay.
    """
    if recording.view is None:
        return NotFound("there is no video with a calibrated camera")
    water = Plane(recording.view, 0.0).pixels(np.array(rig.tank.outline_mm))
    film, pictures = watched(recording, water)
    poses = tag_poses(recording, rig, film, pictures)
    boat = recording.card.boat
    if isinstance(poses, NotFound) or boat.tag is None:
        return poses if isinstance(poses, NotFound) else NotFound("the boat card tells of no tag")
    tag = tag_of(boat, boat.tag)
    found = _seat(poses, boat, tag, film=film, pictures=pictures, rig=rig)
    seated = None if isinstance(found, str) else found
    if seated is not None and recording.stamps is not None:
        poses = raised(poses, seated.height_mm)
        if tag.kind == "disc":
            poses = headed(poses, seated, film)
        poses = filled(poses, seated, film, stamps=recording.stamps, rig=rig)
    track = doubted(track_of(poses, boat, tag, seated), film.watch, poses.plane, poses.place_mm)
    deck = Plane(recording.view, DECK_UNKNOWN_MM[0] if boat.freeboard_mm is None else boat.freeboard_mm)
    tank = np.array(rig.tank.outline_mm)
    return replace(track, touches=touches(track, film, deck=deck, tank_mm=tank, outline_mm=track.outline_mm))


def _seat(poses: Poses, boat: Boat, tag: Tag, film: StoredFilm, pictures: Mapping[int, Grey], rig: Rig) -> Seat | str:
    """How the hull lies around the tag; why it is not seen."""
    if boat.freeboard_mm is None:
        return "the boat card says no freeboard"
    deck = Plane(poses.plane.view, boat.freeboard_mm)
    at = {int(n): k for k, n in enumerate(poses.frame)}
    shown = Shown(
        {n: picture for n, picture in pictures.items() if n in at},
        {n: poses.place_mm[k] for n, k in at.items()},
        {n: float(poses.heading_rad[k]) for n, k in at.items()},
        Print(tag).paper_mm,
        tag.kind == "disc",
    )
    card = boat_card(boat)
    middle = middle_of(boat, tag)
    usual = Usual(outline_of(boat, middle.bow_mm), (-middle.behind_mm, -middle.right_mm))
    around = learnt_around(
        shown, tag_plane=poses.plane, deck=deck, card=card, usual=usual, depth_share=depth_share(rig.tank, deck)
    )
    first = around if isinstance(around, str) else seat(shown, around, poses.plane, tag)
    if isinstance(around, Around) and not around.is_rough and not isinstance(first, str):
        return first
    known, floor_share = ground(rig, deck, boat), depth_share(rig.tank, deck)
    bare = _by_look(shown, film, pictures, deck=deck, known=known, card=card, floor_share=floor_share)
    tried = [first]
    if bare is not None:
        tried.append(seat(shown, bare, poses.plane, tag))
    seats = [one for one in tried if not isinstance(one, str)]
    return min(seats, key=_doubt, default=tried[0])


def _doubt(found: Seat) -> tuple[int, float]:
    """How doubtful a seat is: by contradictions with the card, then by what it knows of the centroid."""
    return len(found.flags), float(np.trace(found.covariance[1:, 1:]))


def _by_look(
    shown: Shown,
    film: StoredFilm,
    pictures: Mapping[int, Grey],
    *,
    deck: Plane,
    known: Ground,
    card: Card,
    floor_share: float,
) -> Around | None:
    """The hull as it is learnt of a boat without a tag, where a shadow or its own light spoils the silhouette."""
    look = look_of(film, pictures, deck, known, card=card, floor_share=floor_share)
    if isinstance(look, str) or look.misses_card(card) or doubts.shines(look.learnt):
        return None
    kept = np.array([int(n) in shown.place_mm for n in look.found.numbers])
    if kept.sum() < _FEWEST_COUNT:
        return None
    found, learnt = look.found, look.learnt
    found = replace(
        found,
        numbers=found.numbers[kept],
        pictures=[picture for picture, keep in zip(found.pictures, kept, strict=True) if keep],
        place_mm=found.place_mm[kept],
        heading_rad=found.heading_rad[kept],
    )
    learnt = replace(
        learnt,
        place_mm=learnt.place_mm[kept],
        heading_rad=learnt.heading_rad[kept],
        misfit=learnt.misfit[kept],
    )
    return Around(found, learnt, deck, card, film=look.film)


def tag_poses(
    recording: Recording, rig: Rig, film: StoredFilm | None = None, pictures: Mapping[int, Grey] | None = None
) -> Poses | NotFound:
    """Where the tag was in every picture that shows it, with covariance; says why if it was not found.

    Args:
        recording: with video, stamps, a calibrated view, and a tag on its card.
        rig: tank and the camera's delay.
        film: its film, if it is at hand.
        pictures: some of it, evenly spread.
    """
    boat = recording.card.boat
    if boat.tag is None or recording.view is None or recording.stamps is None:
        return NotFound("the boat card tells of no tag, or there is no video with a calibrated camera")
    film = film or StoredFilm(recording)
    pictures = dict(film.pictures(evenly(film.count))) if pictures is None else pictures
    tag = tag_of(boat, boat.tag)
    plane = Plane(recording.view, tag.height_mm or 0.0)
    try:
        print_ = Print(tag)
    except CalibrationError as error:
        return NotFound(f"the tag on the boat card cannot be printed: {error}")
    pursuit = pursue(film, recording.stamps, plane, print_, tank_mm=np.array(rig.tank.outline_mm), pictures=pictures)
    if len(pursuit.fits) < _FEWEST_COUNT:
        return NotFound(_not_seen(tag, plane, pursuit))
    numbers = np.array(sorted(pursuit.fits), np.int64)
    fits = [pursuit.fits[n] for n in numbers]
    t_ns = times_ns(recording.stamps, rig, numbers, np.array([f.row_px for f in fits]))
    kept = forwards(t_ns)
    fits = [f for f, keep in zip(fits, kept, strict=True) if keep]
    notes, flags = _said(tag, plane, pursuit, len(recording.stamps.t_ns))
    return _poses(tag, plane, numbers[kept], t_ns[kept], fits, len(recording.stamps.t_ns), notes, flags)


def _poses(
    tag: Tag,
    plane: Plane,
    numbers: NDArray[np.int64],
    t_ns: NDArray[np.int64],
    fits: list[TagFit],
    frames_count: int,
    notes: tuple[str, ...],
    flags: tuple[str, ...],
) -> Poses:
    place = np.array([f.place_mm for f in fits])
    heading = np.array([f.heading_rad for f in fits])
    covariance = np.array([f.covariance for f in fits])
    if tag.kind == "disc":
        heading, u_heading = headings_of_travel(t_ns, place, covariance[:, :2, :2])
        covariance[:, 2, 2] = u_heading**2
    doubtful = np.zeros(len(fits), bool)
    return Poses(numbers, t_ns, place, heading, covariance, doubtful, plane, frames_count, notes, flags)


def _not_seen(tag: Tag, plane: Plane, pursuit: Pursuit) -> str:
    what = "the disc" if tag.kind == "disc" else f"the square number {tag.number}"
    others = [f"{n}" for n, count in sorted(pursuit.others.items()) if count >= _OTHERS_COUNT]
    if others:
        return f"{what} of the boat card is not seen, but number {' and '.join(others)} is"
    said = f"{what} of the boat card is not seen in any of {pursuit.searched_count} pictures of the run"
    wide_px = tag.size_mm / plane.step_mm(plane.foot_mm)
    if wide_px > _SMALL_PX:
        return said
    return f"{said}, in which it is only {wide_px:.0f} pixels wide; print it larger or hang the camera lower"


def _said(tag: Tag, plane: Plane, pursuit: Pursuit, frames_count: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes, and flags that make everything doubtful."""
    notes, flags = [], []
    others = [f"{n}" for n, count in sorted(pursuit.others.items()) if count >= _OTHERS_COUNT]
    if others:
        notes.append(f"beside the boat's own tag number {' and '.join(others)} is seen")
    if not pursuit.is_read:
        notes.append("the tag's number could not be read for certain; it was known by its look")
    if (seen := len(pursuit.fits)) < _SELDOM * frames_count:
        notes.append(f"the tag is seen in {seen} of {frames_count} pictures only")
    u = float(np.linalg.norm([pursuit.u_scale, tag.u_size_mm / tag.size_mm, tag.u_height_mm / plane.height_mm]))
    if abs(pursuit.scale - 1) > max(_SIZE_OFF, _SIZE_TIMES * u):
        flags.append(
            f"the tag looks {tag.size_mm * pursuit.scale:.1f} mm wide, the boat card says {tag.size_mm:.1f} mm: "
            "its size or its height is wrong"
        )
    return tuple(notes), tuple(flags)
