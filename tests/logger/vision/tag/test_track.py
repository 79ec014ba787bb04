from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from logger.config import Boat
from logger.vision import outline
from logger.vision.tag.seat import Seat
from logger.vision.tag.track import Poses, leaps, middle_of, outline_of, raised, strays, track_of
from logger.vision.track import DOUBTFUL, MEASURED
from tests.logger.vision.tag.print_painted import SQUARE, plane

BOAT = Boat("toy", length_mm=200.0, width_mm=80.0, freeboard_mm=20.0, tag=SQUARE)
KNOWN = np.array([[1.0, 0.3, 0.0], [0.3, 0.5**2, 0.0], [0.0, 0.0, 0.3**2]])
HULL = np.array([[90.0, 0], [-80, 40], [-80, -40]])
SEAT = Seat((-20.0, 3.0), 0.02, 0.005, plane().z_mm, 20.0, KNOWN, (0.1, 0.1), HULL, 0.4)


def poses(rock_mm: float = 0.0, **more) -> Poses:
    count = 90
    t = np.arange(count) / 30
    place = np.column_stack([250 * t, 40 + rock_mm * np.sin(2 * np.pi * 3.1 * t)])
    known = {
        "frame": np.arange(count),
        "t_ns": np.round(t * 1e9).astype(np.int64),
        "place_mm": place,
        "heading_rad": np.full(count, 0.3),
        "covariance": np.tile(np.diag([0.04**2, 0.04**2, 0.002**2]), (count, 1, 1)),
        "doubtful": np.zeros(count, bool),
        "plane": plane(),
        "frames_count": count,
    }
    return Poses(**(known | more))


def test_the_centroid_is_where_the_seat_says_turned_with_the_boat() -> None:
    track = track_of(poses(), BOAT, SQUARE, SEAT)
    c, s = np.cos(0.32), np.sin(0.32)
    assert track.x_mm[0] == pytest.approx(c * -20 - s * 3)
    assert track.y_mm[0] == pytest.approx(40 + s * -20 + c * 3)
    assert track.heading_rad[0] == pytest.approx(0.32)
    assert (track.quality == MEASURED).all()


def test_without_a_seat_the_bow_is_where_the_card_says_and_the_guess_is_told() -> None:
    track = track_of(poses(), BOAT, SQUARE)
    bow = np.array([track.x_mm[0], track.y_mm[0]]) + track.outline_mm[:, 0].max() * np.array([np.cos(0.3), np.sin(0.3)])
    assert bow == pytest.approx(np.array([0.0, 40.0]) + 90 * np.array([np.cos(0.3), np.sin(0.3)]))
    assert (track.quality == DOUBTFUL).all()
    assert "guessed" in track.flags[0]
    assert np.hypot(*track.shifts_mm["waterline centroid"][0]) == pytest.approx(0.028 * 200, rel=0.05)


@pytest.mark.parametrize("shape", ["box", "ellipse", "boat"])
def test_the_guess_holds_boats_from_box_to_bow(shape: str) -> None:
    """Centroids by outline.moments; the boat: a flat stern 0.85 wide and sides bent by a power of 2."""
    s = np.linspace(0, 1, 60)
    y = {"box": np.ones(60), "ellipse": np.sqrt(1 - (2 * s - 1) ** 2)}.get(shape)
    if y is None:
        y = np.where(s < 0.45, 0.85 + 0.15 * s / 0.45, 1 - np.clip((s - 0.45) / 0.55, 0, 1) ** 2)
    polygon = np.vstack([np.column_stack([200 * s, -40 * y]), np.column_stack([200 * s, 40 * y])[::-1]])
    from_bow = 200 - outline.moments(polygon)[1][0]
    middle = middle_of(BOAT, SQUARE)
    assert abs(middle.bow_mm - from_bow) < 2 * middle.u_along_mm["waterline centroid"]


def test_the_usual_outline_has_its_centroid_in_its_origin() -> None:
    polygon = outline_of(BOAT, 0.545 * 200)
    area, centre, _ = outline.moments(polygon)
    assert area > 0
    assert np.hypot(*centre) < 0.3
    assert outline.extents(polygon) == pytest.approx((200, 80))
    assert polygon[:, 0].max() == pytest.approx(109)
    round_one = outline_of(replace(BOAT, length_mm=84.0), 42.0)
    assert outline.extents(round_one) == pytest.approx((84, 80), rel=0.01)


def test_a_height_that_is_wrong_shifts_toward_the_foot_point() -> None:
    on, tag = plane(), replace(SQUARE, u_height_mm=2.0)
    shift = track_of(poses(), BOAT, tag).shifts_mm["tag height"]
    away = poses().place_mm - on.foot_mm
    assert shift == pytest.approx(-away * 2.0 / (on.height_mm - on.z_mm))
    higher = raised(poses(), on.z_mm + 2.0)
    assert higher.place_mm - poses().place_mm == pytest.approx(shift)
    assert higher.plane.pixels(higher.place_mm) == pytest.approx(on.pixels(poses().place_mm))


def test_height_and_place_found_together_shift_together() -> None:
    track, on = track_of(poses(), BOAT, SQUARE, SEAT), plane()
    names = ("tag height", "waterline centroid", "waterline centroid, across")
    seen = sum(np.einsum("ni,nj->nij", shift, shift) for shift in (track.shifts_mm[name] for name in names))
    ahead, left = np.array([np.cos(0.32), np.sin(0.32)]), np.array([-np.sin(0.32), np.cos(0.32)])
    by = np.stack([-(poses().place_mm - on.foot_mm) / (on.height_mm - on.z_mm), np.tile(ahead, (90, 1)),
                   np.tile(left, (90, 1))], axis=-1)  # fmt: skip
    assert seen == pytest.approx(by @ KNOWN @ np.swapaxes(by, 1, 2), abs=1e-6)


def test_a_seat_that_contradicts_the_card_or_is_hardly_known_makes_all_doubtful() -> None:
    assert (track_of(poses(), BOAT, SQUARE, replace(SEAT, flags=("elsewhere",))).quality == DOUBTFUL).all()
    wide = replace(SEAT, covariance=np.diag([1.0, 16.0, 0.1]))
    track = track_of(poses(), BOAT, SQUARE, wide)
    assert (track.quality == DOUBTFUL).all()
    assert "hardly seen" in track.flags[0]


def test_where_the_card_says_nothing_doubt_is_wider() -> None:
    known, unknown = middle_of(BOAT, SQUARE), middle_of(BOAT, replace(SQUARE, bow_ahead_mm=None))
    assert sum(u**2 for u in unknown.u_along_mm.values()) > 2 * sum(u**2 for u in known.u_along_mm.values())
    bare = middle_of(Boat("toy"), SQUARE)
    assert bare.u_along_mm["waterline centroid"] > 20


def test_rocking_widens_the_noise_and_rest_does_not() -> None:
    quiet, lively = (track_of(poses(rock_mm=rock), BOAT, SQUARE, SEAT).noise_mm2 for rock in (0.0, 1.0))
    assert np.sqrt(np.trace(quiet[40])) < 0.15
    assert 0.5 < np.sqrt(np.trace(lively[40])) < 2.5


def test_a_fix_out_of_line_is_doubtful() -> None:
    moved = poses().place_mm.copy()
    moved[40] += (0.0, 12.0)
    track = track_of(poses(place_mm=moved), BOAT, SQUARE, SEAT)
    assert 40 in np.flatnonzero(strays(poses(place_mm=moved)))
    assert track.quality[40] == DOUBTFUL
    assert (np.delete(track.quality, [39, 40, 41]) == MEASURED).all()  # those beside it look odd from it


def test_a_step_no_boat_makes_is_a_leap() -> None:
    place = np.zeros((5, 2))
    place[3:] = 200.0
    assert leaps(np.arange(5) * 33_333_333, place).tolist() == [False, False, True, True, False]


def test_a_flag_makes_all_doubtful_and_a_note_does_not() -> None:
    assert (track_of(poses(flags=("wrong size",)), BOAT, SQUARE, SEAT).quality == DOUBTFUL).all()
    noted = track_of(poses(notes=("number 3 is seen too",)), BOAT, SQUARE, SEAT)
    assert (noted.quality == MEASURED).all()
    assert noted.flags == ("number 3 is seen too",)
