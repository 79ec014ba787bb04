"""Was the board printed at its true size? What a ruler says of the bar at the foot of the page.

The lens itself does not depend on it: a board of another size looks the same from another distance. But the same
printer makes the boards and marks of the water plane, whose millimetres are everything.
"""

from __future__ import annotations

from calibration.errors import CalibrationError

BAR_MM = 100.0
LEAST_SQUARE_MM, MOST_SQUARE_MM = 8.0, 300.0
_LEAST_RULER_MM, _MOST_RULER_MM = 80.0, 120.0
_SAME_MM = 0.5  # a ruler's reading


def true_square_mm(square_mm: float, ruler_mm: float | None, *, place: str) -> tuple[float, tuple[str, ...]]:
    """How long squares of nominally `square_mm` are on paper, and what a person should know of it.

    Args:
        square_mm: side of a square as it was meant to be printed.
        ruler_mm: the bar of 100 mm at the foot of the same page, by a ruler; None: it was not measured.
        place: what to call the command in an error.

    Raises:
        CalibrationError: lengths that no printed board has, such as centimetres.
    """
    mistakes = []
    if not LEAST_SQUARE_MM <= square_mm <= MOST_SQUARE_MM:
        unit = (
            f"; is that in cm? Then say {10 * square_mm:g}"
            if LEAST_SQUARE_MM <= 10 * square_mm < MOST_SQUARE_MM
            else ""
        )
        mistakes.append(
            f"found squares of {square_mm:g} mm; wanted {LEAST_SQUARE_MM:g} to {MOST_SQUARE_MM:g} mm{unit}; "
            "measure one side over several squares and divide"
        )
    if ruler_mm is not None and not _LEAST_RULER_MM <= ruler_mm <= _MOST_RULER_MM:
        unit = (
            f"; is that in cm? Then say {10 * ruler_mm:g}" if _LEAST_RULER_MM <= 10 * ruler_mm <= _MOST_RULER_MM else ""
        )
        mistakes.append(
            f"found a bar of {ruler_mm:g} mm; it is meant to be {BAR_MM:g} mm{unit}; measure it again or print again "
            "at 100 %"
        )
    if mistakes:
        raise CalibrationError(place, mistakes)
    if ruler_mm is None:
        return square_mm, (
            "nobody has measured the bar at the foot of the board's page; without it a page that was printed smaller "
            "goes unnoticed: lay a ruler along it (--ruler-mm)",
        )
    if abs(ruler_mm - BAR_MM) < _SAME_MM:
        return square_mm, ()
    printed_mm = square_mm * ruler_mm / BAR_MM
    return printed_mm, (
        f"the board was printed at {ruler_mm / BAR_MM:.1%} of its size: squares are {printed_mm:.4g} mm, not "
        f"{square_mm:g} mm; the lens does not depend on it, lengths on the water do: print boards and marks for the "
        "water plane again at 100 %",
    )
