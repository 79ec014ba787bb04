"""The model is the one the pictures were made with, and a simple lens is not given a complicated model."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Lens
from calibration.lens_models import MODELS, choose
from tests.calibration.board_views import USUAL, WIDE, shown


@pytest.mark.parametrize("seed", range(3))
def test_a_usual_lens_keeps_the_usual_model(seed: int) -> None:
    chosen = choose(shown(USUAL, np.random.default_rng(seed)))
    assert chosen.model == MODELS[0]
    assert chosen.fit.lens.model == "brown"
    assert set(chosen.foretold_px) == {model.words for model in MODELS}
    assert chosen.foretold_px[MODELS[0].words] < 0.25


def test_a_fisheye_is_known_by_what_it_foretells_and_its_doubts_hold() -> None:
    chosen = choose(shown(WIDE, np.random.default_rng(5)))
    assert chosen.fit.lens.model == "fisheye"
    assert chosen.foretold_px[chosen.model.words] < 0.25 < min(chosen.foretold_px[m.words] for m in MODELS[:2])
    off = [(n, (getattr(chosen.fit.lens, n) - getattr(WIDE, n)) / u) for n, u in chosen.fit.u.items() if u > 0]
    assert [name for name, _ in off] == [n for n in LENS_PARAMETERS if n not in {"p1", "p2"}]
    assert all(abs(z) < 4 for _, z in off)


def test_a_lens_with_a_third_term_gets_it() -> None:
    strong = Lens(1280, 720, 900.0, 900.0, 640.0, 360.0, -0.3, 0.15, k3=0.05)
    assert strong.is_one_to_one()
    assert choose(shown(strong, np.random.default_rng(6), sd_px=0.05, count=16)).model.with_k3


def test_a_few_pictures_compare_nothing_and_it_is_said() -> None:
    chosen = choose(shown(USUAL, np.random.default_rng(7), count=7, away_mm=(200.0, 300.0)))
    assert chosen.model == MODELS[0]
    assert chosen.foretold_px == {}
    assert "with 7 pictures models of the lens cannot be compared" in chosen.doubts[0]


def test_what_the_chosen_models_fit_refuses_is_refused() -> None:
    with pytest.raises(CalibrationError, match=r"desk: .*lean the same way"):
        choose(shown(USUAL, np.random.default_rng(8), most_tilt_rad=0.02), place="desk")
