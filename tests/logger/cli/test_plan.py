"""The plan as it is printed, and what it refuses."""

from __future__ import annotations

import re

import pytest

from logger.cli import main

POOL = ["plan", "--tank-mm", "1800x900", "--lens-deg", "66x41"]


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*POOL, *words]) == 0
    return capsys.readouterr().out


def test_a_plan_says_height_pixels_exposure_and_beams_with_their_doubt(capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys)
    found = re.search(r"camera +(\d+) ± (\d+) mm above the water", out)
    assert found is not None
    assert int(found[1]) == pytest.approx(1648, abs=3)
    assert "a pixel shows 1.71 mm" in out
    assert "4.0 ms (1/250 s)" in out
    assert "for tags of 40 mm 2.7 ms" in out
    assert "40 mm above still water; start 300 mm from the wall" in out
    assert "1350.0 ± 2.8 mm from beam to beam" in out
    assert "!" not in out


def test_length_and_width_may_come_in_either_order(capsys: pytest.CaptureFixture[str]) -> None:
    first = told(capsys)
    assert main(["plan", "--tank-mm", "900x1800", "--lens-deg", "66x41"]) == 0
    assert capsys.readouterr().out == first


def test_a_slower_class_may_expose_longer(capsys: pytest.CaptureFixture[str]) -> None:
    assert "10.0 ms (1/100 s) or shorter: a boat at 500 mm/s" in told(capsys, "--speed-mm-per-s", "500")


def test_a_diagonal_will_do(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--tank-mm", "850x420", "--diagonal-deg", "78", "--straw-mm", "0"]) == 0
    out = capsys.readouterr().out
    assert "lens 70° × 43°" in out
    assert "!" in out
    assert "give every boat a flag straw" in out


def test_a_tank_that_is_too_short_still_gets_its_camera(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--tank-mm", "350x250", "--lens-deg", "66x41"]) == 0
    out = capsys.readouterr().out
    assert "camera" in out
    assert "0 mm are left from beam to beam" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["plan", "--tank-mm", "1800", "--lens-deg", "66x41"], "'1800'; two numbers are wanted, such as 1800x900"),
        (["plan", "--tank-mm", "1800x20", "--lens-deg", "66x41"], "--tank-mm: found 20; more than 99"),
        (["plan", "--tank-mm", "1800x900", "--lens-deg", "190x41"], "--lens-deg: found 190; more than 10"),
        (["plan", "--tank-mm", "1800x900", "--diagonal-deg", "5"], "--diagonal-deg: found 5; more than 10"),
        (["plan", "--tank-mm", "1800x900", "--diagonal-deg", "nan"], "--diagonal-deg: found nan; more than 10"),
        (["plan", "--tank-mm", "1800x900"], "one of the arguments --lens-deg --diagonal-deg is required"),
        ([*POOL, "--picture-px", "10x10"], "--picture-px: found 10; more than 99"),
        ([*POOL, "--speed-mm-per-s", "-5"], "--speed-mm-per-s: found -5; more than 0"),
        ([*POOL, "--straw-mm", "-1"], "--straw-mm: found -1"),
    ],
)
def test_what_makes_no_sense_is_told_in_one_line(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        status = main(words)
    except SystemExit as left:  # the words themselves were wrong
        status = int(str(left.code))
    error = capsys.readouterr().err
    assert status == 2
    assert said in error
    assert error.count("\n") == 1
