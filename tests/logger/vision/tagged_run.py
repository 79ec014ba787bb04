"""A painted run of a toy boat with a print on its deck, as a recording."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from logger.config import Boat
from logger.vision.plane import Plane
from tests.logger.vision.painted import Toy, camera, floor, paint, run, voyage
from tests.logger.vision.tag import print_painted as tag_painted

TOY = Toy()
SEAT_MM = (-15.0, 2.0)
"""Where the print's middle is in the boat's frame: 15 mm behind the centroid and 2 mm to the left."""
TURN_RAD = 0.02
"""The print's arrow points that far to the left of the bow."""
BOW_MM = float(TOY.outline_mm[:, 0].max())


def boat(**tag) -> Boat:
    """The card; `tag` changes what it says of the print."""
    told = {"height_mm": TOY.freeboard_mm + 2.0, "bow_ahead_mm": BOW_MM - SEAT_MM[0], "left_mm": 2.0} | tag
    return Boat(
        "toy", length_mm=TOY.length_mm, width_mm=TOY.width_mm, freeboard_mm=TOY.freeboard_mm,
        tag=replace(tag_painted.SQUARE, **told),
    )  # fmt: skip


class Bowl(Toy):
    """A round one."""

    def __post_init__(self) -> None:
        turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
        object.__setattr__(self, "outline_mm", self.length_mm / 2 * np.column_stack([np.cos(turn), np.sin(turn)]))


def tagged_run(folder, *, count=60, tag=None, on_card=None, hidden=(), toy=TOY, seat_mm=SEAT_MM, leeway_rad=0.0):
    """(recording, rig, places (N, 2) of the centroid, headings (N,)); the print left out in the pictures `hidden`.

    The boat travels beside its bow, from so far on one side to so far on the other.
    """
    places, headings = voyage(count, rest=12)
    headings = headings + np.linspace(-leeway_rad, leeway_rad, count)
    recording, rig = run(folder, toy, places[:1], headings[:1], card=on_card or boat())
    key = (count, tag or boat().tag, tuple(hidden), type(toy), toy.length_mm, seat_mm, leeway_rad)
    if key not in _PAINTED:
        shown = [n not in hidden for n in range(count)]
        _PAINTED[key] = _film(places, headings, shown, tag or boat().tag, toy=toy, seat_mm=seat_mm)
    (folder / "video.mjpeg").write_bytes(_PAINTED[key])
    first = recording.stamps
    stamps = type(first)(
        np.arange(count, dtype=np.int64) * 33_333_333, np.zeros(count, np.int64), np.zeros(count, np.int64)
    )
    return replace(recording, stamps=stamps), rig, places, headings


_PAINTED: dict[tuple[object, ...], bytes] = {}
"""Films that were painted already: several modules look at the same one."""


def _film(places, headings, shown, tag, *, toy, seat_mm) -> bytes:
    view, rng = camera(), np.random.default_rng(0)
    on = Plane(view, toy.freeboard_mm + 2.0)
    bare = floor(view)
    made = []
    for n, ((x, y), heading) in enumerate(zip(places, headings, strict=True)):
        picture = paint(view, toy, bare, x_mm=x, y_mm=y, heading_rad=heading, rng=rng)
        c, s = np.cos(heading), np.sin(heading)
        middle = np.array([x + c * seat_mm[0] - s * seat_mm[1], y + s * seat_mm[0] + c * seat_mm[1]])
        if shown[n]:
            turned = heading + TURN_RAD
            picture = tag_painted.paint(picture, on, tag, place_mm=middle, heading_rad=turned, seed=n, deck=0.04)
        made.append(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes())
    return b"".join(made)
