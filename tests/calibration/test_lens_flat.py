"""A board that is not flat moves the lens; the doubt says by how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.lens import LENS_PARAMETERS, Lens
from calibration.lens_fit import fit_lens
from calibration.lens_flat import bows, flat_covariance, u_flat_mm
from calibration.lens_solve import solve
from calibration.waterplane import rotation_matrix
from tests.calibration.board_views import CORNERS_MM, USUAL, WIDE, places, seen_at

LOW, HIGH = CORNERS_MM[:, :2].min(0), CORNERS_MM[:, :2].max(0)


def views(lens: Lens, bow_mm: np.ndarray) -> dict:
    found = {}
    rise = np.array(bow_mm) @ np.array(bows(CORNERS_MM, LOW, HIGH))
    for place in places(lens, np.random.default_rng(3)):
        turn, shift = place
        bent = CORNERS_MM + np.column_stack([0 * rise, 0 * rise, rise])
        off = [lens.pixels(points @ rotation_matrix(turn).T + shift) for points in (bent, CORNERS_MM)]
        seen = seen_at(lens, place, off[0] - off[1])
        assert seen is not None
        found[f"view {len(found)}"] = seen
        if len(found) == 12:
            return found
    return found


def test_the_kinds_of_bow_are_seen_by_eye() -> None:
    square = np.array([[0.0, 0, 0], [50, 0, 0], [100, 0, 0], [50, 40, 0], [100, 80, 0]])
    across, upright, twist = bows(square, np.array([0.0, 0.0]), np.array([100.0, 80.0]))
    np.testing.assert_allclose(across, [0, 1, 0, 1, 0])
    np.testing.assert_allclose(upright, [0, 0, 0, 1, 0])
    np.testing.assert_allclose(twist, [1, 0, -1, 0, 1])
    assert u_flat_mm(0.3) == pytest.approx(0.1732, abs=1e-4)


@pytest.mark.parametrize("lens", [USUAL, WIDE], ids=["usual", "wide"])
def test_the_doubt_is_what_bent_boards_do(lens: Lens) -> None:
    """By refitting to corners of a bent board, not by the derivative that the doubt is made with."""
    flat = list(views(lens, np.zeros(3)).values())
    free = solve(flat, model=lens.model, with_k3=False, near=lens)
    changes = [_change(lens, free.lens, kind) for kind in range(3)]
    fitted = list(free.free)
    sd = np.sqrt(np.diag(flat_covariance(free, flat, u_mm=1.0)))[fitted]
    np.testing.assert_allclose(np.sqrt(np.sum(np.square(changes), axis=0))[fitted], sd, rtol=0.05)


def _change(lens: Lens, before: Lens, kind: int) -> np.ndarray:
    bent = solve(list(views(lens, 0.02 * np.eye(3)[kind]).values()), model=lens.model, with_k3=False, near=lens)
    return np.array([getattr(bent.lens, n) - getattr(before, n) for n in LENS_PARAMETERS]) / 0.02


def test_a_bowed_board_is_held_by_the_doubt_and_would_not_be_without() -> None:
    rng = np.random.default_rng(5)
    seen = {
        name: replace(view, pixels=view.pixels + rng.normal(0, 0.1, view.pixels.shape))
        for name, view in views(USUAL, np.array([0.25, 0.25, 0.0])).items()
    }
    blind, told = fit_lens(seen), fit_lens(seen, flat_mm=0.3)
    assert blind.lens == told.lens
    off = abs(blind.lens.fx_px - USUAL.fx_px)
    assert off > 3 * blind.u["fx_px"]
    assert off < 2 * told.u["fx_px"]


def test_a_board_that_may_be_much_bowed_is_a_doubt_and_no_reason_to_refuse() -> None:
    seen = views(USUAL, np.zeros(3))
    assert not any("bowed" in doubt for doubt in fit_lens(seen, flat_mm=0.1).doubts)
    assert any("because the board may be bowed by 3 mm" in doubt for doubt in fit_lens(seen, flat_mm=3.0).doubts)
