"""What can be wrong with a calibration, said to a person."""

from __future__ import annotations

from collections.abc import Sequence


class CalibrationError(ValueError):
    """A calibration file or its evidence has mistakes: all of them at once, each with its place."""

    def __init__(self, place: str, mistakes: Sequence[str]) -> None:
        self.place, self.mistakes = place, tuple(mistakes)
        super().__init__(f"{place}: " + " | ".join(mistakes))
