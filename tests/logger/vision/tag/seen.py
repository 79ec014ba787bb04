"""The print of the painted run where it truly is in every fourth picture, and what the card says."""

from __future__ import annotations

import numpy as np

from logger.vision.card import Card
from logger.vision.film import StoredFilm
from logger.vision.plane import Plane
from logger.vision.tag.hull import Usual, learnt_around
from logger.vision.tag.papers import Seen
from logger.vision.tag.track import outline_of
from tests.logger.vision.tagged_run import BOW_MM, SEAT_MM, TOY, TURN_RAD, boat, tagged_run

CARD = Card(TOY.freeboard_mm, 1.2, TOY.length_mm, 1.0, TOY.width_mm, 1.0)
USUAL = Usual(outline_of(boat(), BOW_MM), (-SEAT_MM[0], -SEAT_MM[1]))


def seen_at(folder, *, z_off_mm: float = 0.0):
    """(Seen, View): as read on a plane that lies higher by `z_off_mm` than the print."""
    recording, _, places, headings = tagged_run(folder, count=48)
    chosen = list(range(0, 48, 4))
    c, s = np.cos(headings), np.sin(headings)
    middle = places + np.column_stack([c * SEAT_MM[0] - s * SEAT_MM[1], s * SEAT_MM[0] + c * SEAT_MM[1]])
    true = Plane(recording.view, TOY.freeboard_mm + 2)
    read = true.lowered(middle, true.z_mm + z_off_mm)
    pictures = dict(StoredFilm(recording).pictures(chosen))
    seen = Seen(pictures, {n: read[n] for n in chosen}, {n: float(headings[n] + TURN_RAD) for n in chosen}, 27.0, False)
    return seen, recording.view


def around_of(seen, view, card: Card = CARD, usual: Usual = USUAL):
    """The hull learnt around it."""
    tag_plane, deck = Plane(view, TOY.freeboard_mm + 2), Plane(view, TOY.freeboard_mm)
    return learnt_around(seen, tag_plane=tag_plane, deck=deck, card=card, usual=usual, depth_share=0.05)
