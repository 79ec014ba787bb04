from __future__ import annotations

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.lens_stretch import stretched, unstretched
from tests.calibration.board_views import USUAL, WIDE, shown


@pytest.mark.parametrize(("lens", "factor"), [(USUAL, 0.985), (USUAL, 1.005), (WIDE, 0.985)])
def test_a_board_of_another_shape_is_noticed_and_put_right(lens: Lens, factor: float) -> None:
    views = shown(lens, np.random.default_rng(1), count=14)
    found, (said,) = unstretched(stretched(views, factor))
    wide_mm = max(np.ptp(view.points_mm[:, 0]) for view in found.values())
    assert wide_mm == pytest.approx(120.0, rel=0.002)
    assert float(said.split("is ")[1].split("%")[0]) == pytest.approx(100 / factor - 100, abs=0.2)


@pytest.mark.parametrize("seed", range(3))
def test_a_board_of_the_right_shape_is_left_alone(seed: int) -> None:
    views = shown(USUAL, np.random.default_rng(seed), count=12)
    found, said = unstretched(views)
    assert said == ()
    assert all(found[name] is view for name, view in views.items())
