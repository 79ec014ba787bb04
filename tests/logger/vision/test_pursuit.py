from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from logger.config import Boat
from logger.vision import outline
from logger.vision.fit import Fit, Fitter
from logger.vision.ground import SHRINK
from logger.vision.learning import Learnt
from logger.vision.pursuit import _Chase, pursue
from logger.vision.seeking import Seeker
from logger.vision.survey import Survey
from tests.logger.vision.conftest import Painted, run_of
from tests.logger.vision.painted import Toy, camera, floor, paint
from tests.logger.vision.test_survey import Film

T_S = np.arange(150) / 30


def film_of(painted: Painted) -> list[np.ndarray]:
    return [frame.image for frame in painted.recording.frames(grey=True)]


def off_mm(painted: Painted, fits: dict) -> np.ndarray:
    numbers = np.array(sorted(fits))
    return np.hypot(*(np.array([fits[n].place_mm for n in numbers]) - painted.on_plane(numbers)).T)


def test_every_picture_is_fitted(painted: Painted) -> None:
    fits = pursue(Film(film_of(painted)), painted.plane, painted.found, painted.learnt, t_s=T_S, tank=None)
    assert len(fits) == 150
    assert all(fit.good for fit in fits.values())
    assert off_mm(painted, fits).max() < 0.5


def with_circles(painted: Painted, numbers: range, *, aside_px: tuple[int, int], radius_px: int) -> tuple[list, Survey]:
    """The film with a grey disc over or beside the boat in some pictures."""
    pictures = film_of(painted)
    for n in numbers:
        u, v = painted.plane.pixels(painted.on_plane(np.array([n])))[0].round().astype(int)
        pictures[n] = pictures[n].copy()
        cv2.circle(pictures[n], (int(u) + aside_px[0], int(v) + aside_px[1]), radius_px, 210, -1)
    return pictures, replace(painted.found, pictures=[pictures[n] for n in painted.found.numbers])


def test_a_boat_covered_for_a_while_is_left_out_and_found_again(painted: Painted) -> None:
    pictures, found = with_circles(painted, range(60, 80), aside_px=(0, 0), radius_px=140)
    fits = pursue(Film(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=None)
    assert sorted(fits) == [*range(60), *range(80, 150)]
    assert off_mm(painted, fits).max() < 0.5


def test_what_led_to_nothing_is_not_tried_again(painted: Painted, monkeypatch: pytest.MonkeyPatch) -> None:
    """A boat that was covered is looked for from where it is after, then all over; nothing new is known by that."""
    pictures, found = with_circles(painted, range(60, 80), aside_px=(0, 0), radius_px=140)
    asked: list[int] = []

    class Counted(Film):
        def upper(self, rows_px):
            asked.extend(rows_px)
            return super().upper(rows_px)

    def sought(chase: _Chase, _: Seeker) -> bool:
        asked.clear()
        return True

    monkeypatch.setattr(_Chase, "seek", sought)
    fits = pursue(Counted(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=None)
    assert sorted(fits) == [*range(60), *range(80, 150)]
    assert asked == []


def test_once_the_boat_is_found_again_the_pictures_before_are_tried_from_there(
    painted: Painted, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those, too, in which it was looked for in vain from farther away."""
    pictures = film_of(painted)
    hidden = [np.full_like(picture, 128) if 60 <= n < 80 else picture for n, picture in enumerate(pictures)]
    found = replace(painted.found, pictures=[hidden[n] for n in painted.found.numbers])
    film = Film(hidden)

    def sought(chase: _Chase, _: Seeker) -> bool:
        """Then they are seen, and the boat is found in two of them."""
        film._pictures[60:80] = pictures[60:80]
        for n in (70, 71):
            at = painted.on_plane(np.array([n]))[0]
            chase.fits[n] = chase.fitter.fit(pictures[n], place_mm=at, heading_rad=float(painted.headings_rad[n]))
        return True

    monkeypatch.setattr(_Chase, "seek", sought)
    fits = pursue(film, painted.plane, found, painted.learnt, t_s=T_S, tank=None)
    assert off_mm(painted, fits).max() < 0.5
    assert sorted(fits) == [*range(72), *range(80, 150)]


@pytest.mark.parametrize("pictures_hidden", [range(60, 80), range(30), range(110, 150)])
def test_a_boat_half_of_which_is_hidden_is_still_measured(painted: Painted, pictures_hidden: range) -> None:
    pictures, found = with_circles(painted, pictures_hidden, aside_px=(-70, 0), radius_px=70)
    fits = pursue(Film(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=None)
    assert len(fits) == 150
    assert all(fits[n].is_partial and fits[n].agreeing < 0.8 for n in pictures_hidden)
    assert off_mm(painted, fits).max() < 0.8


def test_a_boat_that_is_never_seen_whole_is_found_where_it_taught_its_look(painted: Painted) -> None:
    pictures, found = with_circles(painted, range(150), aside_px=(-70, 0), radius_px=50)
    fits = pursue(Film(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=None)
    assert len(fits) == 150
    assert all(fit.is_partial for fit in fits.values())
    assert off_mm(painted, fits).max() < 0.8


def test_right_after_all_of_a_boat_was_seen_half_of_one_elsewhere_is_not_believed(painted: Painted) -> None:
    """After lost pictures the boat may be anywhere, and a half of something else is easily like a half of it."""
    elsewhere = range(70, 75)
    pictures = film_of(painted)
    for n in elsewhere:
        x, y = painted.places_mm[n] + (9.0, 0.0)
        moved = paint(camera(), painted.toy, floor(camera()), x_mm=x, y_mm=y, heading_rad=painted.headings_rad[n])
        u, v = painted.plane.pixels(np.array([[x, y]]))[0].round().astype(int)
        pictures[n] = cv2.circle(moved, (int(u) - 70, int(v)), 70, 210, -1)
    found, learnt = of_pictures(painted, ~np.isin(painted.found.numbers, elsewhere))
    fits = pursue(Film(pictures), painted.plane, found, learnt, t_s=T_S, tank=None)
    assert sorted(fits) == [n for n in range(150) if n not in elsewhere]
    assert off_mm(painted, fits).max() < 0.5


def test_a_bow_is_believed_if_the_whole_with_a_sail_for_its_stern_is_turned_by_less_than_its_place_may_be_off(
    tmp_path: Path,
) -> None:
    """In rough water the whole lies between the bow and the paler, slanting sail that hides the rest."""
    toy, card = Toy(110.0, 46.0), Boat("small", length_mm=113.3, width_mm=47.4, freeboard_mm=20.0)
    small, hidden, bow_mm, slant_rad = run_of(toy, card, tmp_path, count=60, rest=15), range(24, 29), 28.0, 0.15
    pictures, view, empty = film_of(small), camera(), floor(camera())
    ahead = np.array([[bow_mm, -150.0], [300.0, -150.0], [300.0, 150.0], [bow_mm, 150.0]])
    for n in hidden:
        place, heading = small.places_mm[n], float(small.headings_rad[n])
        joint = outline.turned(np.array([[bow_mm, 0.0]]), heading)
        x, y = (place + joint - outline.turned(joint, slant_rad))[0]
        pale = replace(toy, deck=128.0, wall=128.0)
        sail = paint(view, pale, empty, x_mm=x, y_mm=y, heading_rad=heading + slant_rad)
        corners = np.round(small.plane.pixels(outline.turned(ahead, heading) + place)).astype(np.int32)
        is_bow = cv2.fillConvexPoly(np.zeros(sail.shape, np.uint8), corners, 1) > 0
        pictures[n] = np.where(is_bow, pictures[n], sail)
    found, learnt = of_pictures(small, ~np.isin(small.found.numbers, hidden))
    rough = replace(learnt, hull=replace(learnt.hull, noise=6 * learnt.hull.noise))
    fits = pursue(Film(pictures), small.plane, found, rough, t_s=T_S[:60], tank=None)
    assert sorted(fits) == list(range(60))
    assert all(fits[n].is_partial and fits[n].agreeing < 0.37 for n in hidden)
    assert off_mm(small, fits).max() < 0.8


SAILS = range(60, 80)


def with_sails(painted: Painted, *, rougher: float) -> tuple[list, Survey, Learnt]:
    """The film, in some pictures with a sail of the deck's own light that stands out beyond the stern; the boat learnt
    in water so many times rougher than it is.
    """
    pictures = film_of(painted)
    stern = painted.learnt.hull.outline()[:, 0].min()
    sail = np.array([[stern - 12.0, -40.0], [stern + 12.0, -40.0], [stern + 12.0, 40.0], [stern - 12.0, 40.0]])
    for n in SAILS:
        place, heading = painted.on_plane(np.array([n]))[0], float(painted.headings_rad[n])
        u, v = painted.plane.pixels(place[None])[0].round().astype(int)
        corners = painted.plane.pixels(outline.turned(sail, heading) + place)
        pictures[n] = pictures[n].copy()
        cv2.fillConvexPoly(pictures[n], np.round(corners).astype(np.int32), int(pictures[n][v, u]))
    hull = replace(painted.learnt.hull, noise=rougher * painted.learnt.hull.noise)
    found = replace(painted.found, pictures=[pictures[n] for n in painted.found.numbers])
    return pictures, found, replace(painted.learnt, hull=hull)


def whole_fits(painted: Painted, pictures: list, learnt: Learnt) -> dict[int, Fit]:
    """The boat as a whole laid over the pictures with a sail, from its true place."""
    fitter = Fitter(learnt.hull.thinned(), painted.plane, painted.found.water, painted.found.tone)
    places = painted.on_plane(np.array(SAILS))
    return {
        n: fitter.fit(pictures[n], place_mm=place, heading_rad=float(painted.headings_rad[n]))
        for n, place in zip(SAILS, places, strict=True)
    }


def test_a_sail_of_the_boats_own_light_beyond_its_stern_does_not_pull_it_along(painted: Painted) -> None:
    """In rough water the whole looks good enough with the sail for its stern: only its parts tell otherwise."""
    pictures, found, learnt = with_sails(painted, rougher=8.0)
    whole = whole_fits(painted, pictures, learnt)
    assert all(fit.good for fit in whole.values()), "its misfit would give it away"
    assert np.median(off_mm(painted, whole)) > 1.5
    fits = pursue(Film(pictures), painted.plane, found, learnt, t_s=T_S, tank=None)
    assert len(fits) == 150
    assert off_mm(painted, fits).max() < 0.5
    assert [n for n in sorted(fits) if fits[n].is_partial] == list(SAILS)


def test_of_a_boat_whose_parts_disagree_no_part_is_believed_that_is_no_better_than_the_whole(painted: Painted) -> None:
    """In water so rough even such a sail is nothing unusual: what is left without it tells no more."""
    pictures, found, learnt = with_sails(painted, rougher=40.0)
    whole = whole_fits(painted, pictures, learnt)
    assert min(fit.u_parts_mm for fit in whole.values()) > painted.plane.step_mm(painted.plane.foot_mm)
    fits = pursue(Film(pictures), painted.plane, found, learnt, t_s=T_S, tank=None)
    assert not any(fit.is_partial for fit in fits.values())
    u_mm = np.sqrt([np.trace(fits[n].covariance[:2, :2]) for n in SAILS])
    assert (off_mm(painted, {n: fits[n] for n in SAILS}) < 2 * u_mm).all()


def test_part_of_a_boat_is_not_believed_where_the_rest_would_lie_beyond_the_wall(painted: Painted) -> None:
    pictures, found = with_circles(painted, range(60, 80), aside_px=(-70, 0), radius_px=70)
    rows, columns = (length // SHRINK for length in pictures[0].shape)
    tank = np.ones((rows, columns), bool)
    fits = pursue(Film(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=tank)
    assert len(fits) == 150
    middle = painted.plane.pixels(painted.on_plane(np.array([70])))[0]
    tank[:, round(middle[0] / SHRINK) :] = False
    walled = pursue(Film(pictures), painted.plane, found, painted.learnt, t_s=T_S, tank=tank)
    assert 70 not in walled
    assert all(fits[n].is_partial for n in fits.keys() - walled.keys())


def of_pictures(painted: Painted, kept: Any) -> tuple[Any, Any]:
    """What was found and learnt in some of the sparse pictures."""
    found, learnt = painted.found, painted.learnt
    place_mm, heading_rad = learnt.place_mm[kept], learnt.heading_rad[kept]
    pictures = [p for p, keep in zip(found.pictures, kept, strict=True) if keep]
    return (
        replace(
            found, numbers=found.numbers[kept], pictures=pictures,
            place_mm=found.place_mm[kept], heading_rad=found.heading_rad[kept],
        ),
        replace(learnt, place_mm=place_mm, heading_rad=heading_rad),
    )  # fmt: skip


def test_a_start_that_the_sparse_pictures_got_wrong_is_put_right(painted: Painted) -> None:
    """Without the sparse poses of the first sixty pictures the boat at rest is still found there."""
    late = painted.found.numbers >= 60
    found, learnt = of_pictures(painted, late)
    fits = pursue(Film(film_of(painted)), painted.plane, found, learnt, t_s=T_S, tank=None)
    assert all(fit.good for fit in fits.values())
    assert off_mm(painted, fits).max() < 0.5


def test_where_the_sparse_poses_end_the_pictures_before_lead_on(
    painted: Painted, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many pictures are then still fitted together: one after the other they would take three times as long."""
    early = painted.found.numbers < 75
    found, learnt = of_pictures(painted, early)
    alone: list[int] = []
    one_alone = Fitter.fit

    def counted(fitter: Fitter, *args, **kwargs) -> Fit:
        alone.append(1)
        return one_alone(fitter, *args, **kwargs)

    monkeypatch.setattr(Fitter, "fit", counted)
    fits = pursue(Film(film_of(painted)), painted.plane, found, learnt, t_s=T_S, tank=None)
    assert sorted(fits) == list(range(150))
    assert off_mm(painted, fits).max() < 0.5
    assert len(alone) < 55


def test_the_sparse_pictures_are_not_decoded_again(painted: Painted) -> None:
    asked: list[int] = []

    class Counted(Film):
        def upper(self, rows_px):
            asked.extend(rows_px)
            return super().upper(rows_px)

    fits = pursue(Counted(film_of(painted)), painted.plane, painted.found, painted.learnt, t_s=T_S, tank=None)
    assert sorted([*asked, *painted.found.numbers]) == list(range(150)) == sorted(fits)


@pytest.mark.parametrize("shift_px", [-16, -8, 8, 16, 40])
def test_a_picture_that_a_lost_part_has_shifted_is_looked_at_whole_and_left_out_if_damaged(
    painted: Painted, shift_px: int
) -> None:
    held = set(painted.found.numbers.tolist())
    shifted = [n for n in range(45, 110) if n not in held][::3]
    damaged = shifted[::2]

    class Shifted(Film):
        def upper(self, rows_px):
            for n, picture, whole in super().upper(rows_px):
                if n in shifted:
                    picture = np.roll(picture, shift_px, axis=1)
                yield n, picture, (lambda: None) if n in damaged else whole

    fits = pursue(Shifted(film_of(painted)), painted.plane, painted.found, painted.learnt, t_s=T_S, tank=None)
    assert len(shifted) > 6
    assert sorted(fits) == [n for n in range(150) if n not in damaged]
    assert all(fit.good for fit in fits.values())
    assert off_mm(painted, fits).max() < 0.5
