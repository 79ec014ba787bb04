"""Pictures upside down among others are named where the lens gives them away, and good sets are left in peace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.board import BoardSeen
from calibration.lens import Lens
from calibration.lens_compare import turned
from calibration.lens_fit import fit_lens
from calibration.lens_solve import solved_well
from calibration.lens_turned import HalfTurned, half_turn, half_turned
from tests.bench.lens import simulated
from tests.calibration.board_views import USUAL, WIDE, shown

CENTRED = replace(USUAL, cx_px=639.5, cy_px=359.5, p1=0.0, p2=0.0)


def looked_at(views: dict[str, BoardSeen]) -> HalfTurned:
    solved = solved_well(views)
    assert solved is not None
    return half_turned(views, solved)


def mixed(views: dict[str, BoardSeen], *names: str) -> dict[str, BoardSeen]:
    return {name: half_turn(view) if name in names else view for name, view in views.items()}


def test_half_a_turn_of_a_picture_is_the_turned_lens() -> None:
    views = shown(USUAL, np.random.default_rng(1), sd_px=0.0)
    fit = fit_lens({name: half_turn(view) for name, view in views.items()})
    for name in ("fx_px", "cx_px", "cy_px", "k1", "p1", "p2"):
        assert getattr(fit.lens, name) == pytest.approx(getattr(turned(USUAL), name), rel=1e-4, abs=2e-5), name


@pytest.mark.parametrize(
    ("lens", "kind"), [(USUAL, "corners"), (USUAL, "pictures"), (USUAL, "bowed"), (WIDE, "corners")]
)
@pytest.mark.parametrize(
    "names", [("view 4",), ("view 2", "view 7", "view 11"), tuple(f"view {n}" for n in range(1, 7))]
)
def test_they_are_named(lens: Lens, kind: str, names: tuple[str, ...]) -> None:
    far = replace(lens, cx_px=lens.middle_px[0] + 20, cy_px=lens.middle_px[1] - 14)
    found = looked_at(mixed(simulated(far, np.random.default_rng(2), kind), *names))
    assert found.is_sure
    assert set(found.names) <= set(names)
    assert set(names) <= {*found.names, *found.unsure}
    assert len(found.names) >= len(names) - 1


def test_of_a_set_that_is_mixed_half_and_half_one_half_is_named() -> None:
    one = {f"view {n}" for n in range(1, 8)}
    views = mixed(shown(USUAL, np.random.default_rng(3)), *one)
    found = set(looked_at(views).names)
    assert found in (one, set(views) - one)


@pytest.mark.parametrize("kind", ["corners", "pictures", "bowed"])
@pytest.mark.parametrize("lens", [USUAL, CENTRED], ids=["off its middle", "centred"])
def test_good_sets_are_left_in_peace(lens: Lens, kind: str) -> None:
    """Of a lens that is centred every picture fits either way, and takes the better one by chance."""
    for seed in range(4):
        found = looked_at(simulated(lens, np.random.default_rng((4, seed)), kind))
        assert not found.is_sure
        assert found.names == ()


def test_a_bend_that_the_first_fit_lacks_is_not_taken_for_a_turn() -> None:
    bent = replace(CENTRED, fx_px=700.0, fy_px=701.0, k1=-0.3, k2=0.12, k3=-0.03)
    for seed in range(3):
        assert not looked_at(simulated(bent, np.random.default_rng((5, seed)), "pictures")).is_sure


def test_a_centred_lens_comes_out_the_same_whether_pictures_are_turned_or_not() -> None:
    views = shown(CENTRED, np.random.default_rng(6))
    strange = mixed(views, "view 1", "view 5", "view 9")
    assert not looked_at(strange).is_sure
    straight, other = fit_lens(views), fit_lens(strange)
    for name, u in straight.u.items():
        assert abs(getattr(straight.lens, name) - getattr(other.lens, name)) <= 2 * u
        assert abs(getattr(other.lens, name) - getattr(CENTRED, name)) <= 3 * other.u[name], name


def test_few_pictures_say_nothing() -> None:
    views = mixed(shown(USUAL, np.random.default_rng(7), count=4), "view 1")
    assert looked_at(views) == HalfTurned((), (), 0.0)
