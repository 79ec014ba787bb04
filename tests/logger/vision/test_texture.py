from __future__ import annotations

import cv2
import numpy as np

from logger.vision.texture import CrinkledFilm, crinkled, crinkles


class Film:
    count = 2

    def pictures(self, wanted=None):
        return ((n, np.full((40, 60), 100 + n, np.uint8)) for n in (wanted or range(2)))


def test_foil_is_crinkled_and_its_soft_shadow_is_not() -> None:
    rng = np.random.default_rng(2)
    picture = np.full((120, 200), 160.0)
    shadow = np.zeros((120, 200))
    shadow[40:80, 110:170] = 1
    picture *= 1 - 0.3 * cv2.GaussianBlur(shadow, (0, 0), 4)
    picture[30:90, 20:90] += cv2.GaussianBlur(rng.normal(0, 60, (60, 70)), (0, 0), 1.2)
    seen = crinkles((picture + rng.normal(0, 1, picture.shape)).clip(0, 255).astype(np.uint8))
    assert np.median(seen[40:80, 30:80]) > 40
    assert seen[30:90, 100:180].max() < 20


def test_crinkles_for_fitting_begin_where_the_foil_does() -> None:
    """Half of what is inside is reached within two pixels of the edge."""
    rng = np.random.default_rng(3)
    picture = np.full((200, 300), 150.0)
    picture[:, 150:] += cv2.GaussianBlur(rng.normal(0, 60, (200, 150)), (0, 0), 1.2)
    grey = picture.clip(0, 255).astype(np.uint8)
    rows = [crinkled(cv2.merge([grey] * 3)).mean(axis=0), crinkles(grey).mean(axis=0)]
    edges = [np.interp(0.5 * row[180:].mean(), row[140:165], np.arange(140, 165)) for row in rows]
    assert abs(edges[0] - 149.5) < 2
    assert abs(edges[0] - 149.5) < abs(edges[1] - 149.5)


def test_a_crinkled_film_has_the_pictures_and_numbers_of_its_own_film() -> None:
    film = CrinkledFilm(Film())
    assert film.count == 2
    assert [number for number, _ in film.pictures()] == [0, 1]
    ((number, picture),) = film.pictures([1])
    assert number == 1
    assert not picture.any()
