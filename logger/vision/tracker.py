"""The whole measurement of one boat over a stored video.

A recipe: survey a few pictures, learn the boat's look from them, lay that look over every picture, put the result down
with its doubt.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.recording.folder import Recording
from logger.vision import doubts
from logger.vision.card import Card, boat_card
from logger.vision.film import watched
from logger.vision.fit import AGREED_PX, Fit
from logger.vision.ground import depth_share, ground
from logger.vision.learning import Learnt
from logger.vision.looks import look_of
from logger.vision.plane import Plane
from logger.vision.pursuit import pursue
from logger.vision.stamps import forwards, times_ns
from logger.vision.survey import Survey
from logger.vision.tagged import track_tagged
from logger.vision.touch.touches import touches
from logger.vision.track import DOUBTFUL, MEASURED, NotFound, Track
from logger.vision.watch.knocks import doubted

Floats = NDArray[np.float64]

_LEAST_GOOD_SHARE = 0.5
"""Ripples and glints too can be followed for a while; but they do not keep their look."""
_SURELY_SHOWN = 0.4
"""A boat of which less is seen is doubtful."""
_MISFIT_BY_CRINKLES = 2.0
"""So much worse a fit of crinkles than usual may be millimetres off: something else is crinkled there."""
_PART_UNLIKE = 2.5
"""A part of the boat that fits so many times worse than the boat usually does may be a part of something like it."""


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
    look = look_of(grey, pictures, plane, known, card=card, floor_share=depth_share(rig.tank, plane))
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
    most = _MISFIT_BY_CRINKLES if learnt.is_by_crinkles else np.inf
    apart_mm = AGREED_PX * plane.step_mm(plane.foot_mm)
    most_of_part = min(most, _PART_UNLIKE * float(np.median(learnt.misfit)))
    sure = np.array(
        [
            f.good
            and f.agreeing > _SURELY_SHOWN
            and f.misfit < (most_of_part if f.is_partial else most)
            and f.u_parts_mm < apart_mm
            for f in fits
        ]
    )
    certain = sure & ~doubts.leaps(t_ns, place) & (not flags)
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
        u_outline_mm=doubts.u_outline(learnt, plane, card),
        shifts_mm=shifts,
        frames_seen_count=frames_count,
        flags=flags,
    )
