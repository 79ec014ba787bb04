from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pytest

from logger.recording.folder import FrameStamps
from logger.vision.background import Grey
from logger.vision.tag.look import Print
from logger.vision.tag.pursuit import Pursuit, pursue
from tests.logger.vision.tag.print_painted import DISC, SQUARE, empty, paint, plane
from tests.logger.vision.tag.test_search import TANK

ON = plane()
EXPOSURE_S = 0.006


@dataclass
class Toy:
    """A film of pictures at hand."""

    shown: list[Grey]

    @property
    def count(self) -> int:
        return len(self.shown)

    def pictures(self, wanted: Sequence[int] | None = None) -> Iterator[tuple[int, Grey]]:
        return ((n, self.shown[n]) for n in (range(self.count) if wanted is None else wanted))

    def upper(self, rows_px):
        for n in rows_px:
            yield n, self.shown[n][: rows_px[n]], partial(self.shown.__getitem__, n)


def run(tag, *, count=36, speed=900.0, hidden=(), cover=None):
    """A boat that stands, then goes off at 1.5 m/s² up to `speed`; its print hidden in some pictures."""
    t = np.arange(count) / 30
    go = np.maximum(t - 0.3, 0)
    x = np.where(go < speed / 1500, 750 * go**2, speed * go - speed**2 / 3000)
    v = np.minimum(1500 * go, speed)
    places = np.column_stack([100 + x, 60 + 0.1 * x])
    heading = np.full(count, np.arctan(0.1))
    shown = []
    for n in range(count):
        smear = EXPOSURE_S * v[n] * np.array([np.cos(heading[n]), np.sin(heading[n])])
        picture = empty()
        if n not in hidden:
            picture = paint(
                picture, ON, tag, place_mm=places[n], heading_rad=heading[n], smear_mm=smear, seed=n,
                cover=None if cover is None else cover(n),
            )  # fmt: skip
        shown.append(picture)
    stamps = FrameStamps(
        np.round(t * 1e9).astype(np.int64), np.full(count, round(EXPOSURE_S * 1e9)), np.zeros(count, np.int64)
    )
    return Toy(shown), stamps, places


def pursued(film: Toy, stamps: FrameStamps, tag) -> Pursuit:
    pictures = {n: film.shown[n] for n in range(0, film.count, 2)}
    return pursue(film, stamps, ON, Print(tag), tank_mm=TANK, pictures=pictures)


def off_mm(found: Pursuit, places) -> np.ndarray:
    return np.array([np.hypot(*(fit.place_mm - places[n])) for n, fit in found.fits.items()])


@pytest.mark.parametrize("tag", [SQUARE, DISC], ids=["square", "disc"])
def test_a_boat_is_followed_from_rest_to_full_speed(tag) -> None:
    film, stamps, places = run(tag)
    found = pursued(film, stamps, tag)
    assert sorted(found.fits) == list(range(film.count))
    assert off_mm(found, places).max() < 0.25
    assert found.others == {}
    assert found.scale == pytest.approx(1.0, abs=0.02)


def test_it_is_found_again_after_it_was_hidden_and_never_where_it_is_not() -> None:
    film, stamps, places = run(SQUARE, hidden=range(14, 21))
    found = pursued(film, stamps, SQUARE)
    assert sorted(set(range(film.count)) - set(found.fits)) == list(range(14, 21))
    assert off_mm(found, places).max() < 0.3


def test_what_a_hand_hid_at_the_start_is_found_backwards() -> None:
    film, stamps, places = run(SQUARE, cover=lambda n: (lambda down, across: down > 0.66) if n < 10 else None)
    found = pursued(film, stamps, SQUARE)
    assert len(set(range(10)) & set(found.fits)) > 5
    assert off_mm(found, places).max() < 0.8
    hidden = np.mean([np.trace(found.fits[n].covariance[:2, :2]) for n in range(10) if n in found.fits])
    assert hidden > 3 * np.trace(found.fits[12].covariance[:2, :2])


def test_another_number_is_told_of_and_the_boats_own_is_not_found() -> None:
    film, stamps, _ = run(replace(SQUARE, number=12), count=16)
    found = pursued(film, stamps, SQUARE)
    assert found.fits == {}
    assert list(found.others) == [12]
    assert found.others[12] > 2


def test_a_print_of_another_size_is_noticed() -> None:
    film, stamps, _ = run(replace(SQUARE, size_mm=42.0), count=16)
    assert pursued(film, stamps, SQUARE).scale == pytest.approx(1.05, abs=0.012)


def test_headings_are_continuous_over_half_a_turn() -> None:
    shown = [
        paint(empty(), ON, SQUARE, place_mm=(500.0, 0.0), heading_rad=np.pi - 0.3 + 0.05 * n, seed=n) for n in range(14)
    ]
    stamps = FrameStamps(np.arange(14) * 33_333_333, np.zeros(14, np.int64), np.zeros(14, np.int64))
    found = pursued(Toy(shown), stamps, SQUARE)
    headings = [found.fits[n].heading_rad for n in range(14)]
    assert np.diff(headings) == pytest.approx(0.05, abs=0.01)


def test_what_was_before_the_first_find_is_followed_back_to_the_start() -> None:
    film, stamps, places = run(SQUARE, count=24)
    late = {n: film.shown[n] for n in range(14, 24, 2)}
    found = pursue(film, stamps, ON, Print(SQUARE), tank_mm=TANK, pictures=late)
    assert sorted(found.fits) == list(range(24))
    assert off_mm(found, places).max() < 0.3
