from __future__ import annotations

import numpy as np
import pytest

from logger.vision.light import light, light_of_tone, tone_of_light


def test_half_the_light_of_white_is_picture_number_186() -> None:
    """0.5^(1/2.2)·255 = 186.1; IEC 61966-2-1's exact curve says 187.5 (from memory)."""
    assert float(tone_of_light(np.float32([127.5]))[0]) == pytest.approx(186.1, abs=0.1)
    assert float(light(np.full((1, 1), 186, np.uint8))[0, 0]) == pytest.approx(127.4, abs=0.2)


def test_light_and_tone_undo_each_other_and_leave_the_unknown_unknown() -> None:
    numbers = np.append(np.arange(256), np.nan).astype(np.float32)
    back = tone_of_light(light_of_tone(numbers))
    assert back[:-1] == pytest.approx(numbers[:-1], abs=1e-3)
    assert np.isnan(back[-1])
