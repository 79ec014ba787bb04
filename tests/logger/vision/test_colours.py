from __future__ import annotations

import numpy as np
import pytest

from logger.vision.colours import tone
from logger.vision.film import StoredFilm
from logger.vision.light import mixing
from tests.logger.vision.conftest import Painted


def test_the_tone_is_that_of_deck_and_floor(painted: Painted) -> None:
    """Painted: deck 60 on a floor of about 170, both without colour."""
    found = tone(StoredFilm(painted.recording), painted.found, painted.plane)
    assert found.of == pytest.approx(mixing(np.full(3, 60), np.full(3, 170)).of, abs=3)
