"""Windows of the picture."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.window import Window, softened

SQUARE = np.array([[10.0, 20.0], [30.0, 20.0], [30.0, 50.0], [10.0, 50.0]])
LIMIT = (100, 200)


def test_a_window_holds_its_outline_with_the_margin() -> None:
    window = Window(SQUARE, margin_px=5, limit=LIMIT)
    assert (window.left_px, window.top_px) == (5, 15)
    assert window.cover(SQUARE).sum() == pytest.approx(20 * 30)
    assert window.seen


def test_a_window_over_the_edge_shows_only_what_is_in_the_picture() -> None:
    window = Window(SQUARE - (20.0, 0.0), margin_px=5, limit=LIMIT)
    seen = window.cover(SQUARE - (20.0, 0.0))[window.inner]
    assert (window.rows.start, window.columns.start) == (15, 0)
    assert seen.shape == (window.rows.stop - 15, window.columns.stop)
    # columns 0 to 9.5 and half a pixel before the first centre
    assert seen.sum() == pytest.approx(10.5 * 30)


def test_a_window_outside_the_picture_is_not_seen() -> None:
    assert not Window(SQUARE + np.array([500.0, 0.0]), margin_px=5, limit=LIMIT).seen
    assert not Window(SQUARE - (0.0, 500.0), margin_px=5, limit=LIMIT).seen


@pytest.mark.parametrize("sigma_px", [0.6, 3.0, 8.0])
def test_softening_keeps_the_sum_and_the_middle(sigma_px: float) -> None:
    mask = Window(SQUARE, margin_px=60, limit=(400, 400)).cover(SQUARE)
    soft = softened(mask, sigma_px)
    columns = np.arange(mask.shape[1])
    assert soft.sum() == pytest.approx(mask.sum(), rel=0.01)
    before, after = ((m.sum(axis=0) @ columns) / m.sum() for m in (mask, soft))
    assert after == pytest.approx(before, abs=0.3)
