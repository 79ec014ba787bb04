from __future__ import annotations

import pytest

from calibration.errors import CalibrationError
from calibration.lens_scale import true_square_mm


def test_a_page_at_its_true_size_says_nothing() -> None:
    assert true_square_mm(24.0, 100.2, place="here") == (24.0, ())


def test_a_page_printed_at_97_percent_is_noticed() -> None:
    square_mm, (said,) = true_square_mm(24.0, 97.0, place="here")
    assert square_mm == pytest.approx(23.28)
    assert "printed at 97.0% of its size: squares are 23.28 mm, not 24 mm" in said
    assert "print boards and marks for the water plane again" in said


def test_a_bar_that_nobody_measured_is_a_note() -> None:
    square_mm, (said,) = true_square_mm(24.0, None, place="here")
    assert square_mm == 24.0
    assert "nobody has measured the bar" in said


@pytest.mark.parametrize(
    ("square_mm", "ruler_mm", "told"),
    [
        (2.4, 100.0, r"here: found squares of 2.4 mm; .*is that in cm\? Then say 24"),
        (0.5, 100.0, r"found squares of 0.5 mm; wanted 8 to 300 mm; measure"),
        (24.0, 10.0, r"found a bar of 10 mm; it is meant to be 100 mm; is that in cm\? Then say 100"),
        (24.0, 60.0, r"found a bar of 60 mm; it is meant to be 100 mm; measure it again"),
        (2.4, 9.7, r"squares of 2.4 mm.* \| found a bar of 9.7 mm"),
    ],
)
def test_lengths_that_no_page_has_are_refused(square_mm: float, ruler_mm: float, told: str) -> None:
    with pytest.raises(CalibrationError, match=told):
        true_square_mm(square_mm, ruler_mm, place="here")
