"""A calibration's mistakes, for people and for programs."""

from __future__ import annotations

from calibration.errors import CalibrationError


def test_an_error_is_one_line_and_keeps_each_mistake_apart() -> None:
    error = CalibrationError("camera.toml", ["first", "second"])
    assert str(error) == "camera.toml: first | second"
    assert error.mistakes == ("first", "second")
    assert isinstance(error, ValueError)
