from __future__ import annotations

import math

import pytest

from calibration.readings import (
    BEAM_MM,
    Reading,
    read_length,
    read_mass,
    taped_distance,
    u_from_end_to_end,
    u_of_step,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("210", 210.0), ("210 mm", 210.0), ("21cm", 210.0), ("0.21 m", 210.0), ("8 in", 203.2), ("8.25 in", 209.55),
        ("8 1/4 in", 209.55), ('8-1/4"', 209.55), ("3/16 in", 4.7625), (" 1 ft ", 304.8), (".5 in", 12.7),
        ("-3", -3.0), ("−3 mm", -3.0), ("210 MM", 210.0),
    ],
)  # fmt: skip
def test_lengths_come_out_in_millimetres(text: str, mm: float) -> None:
    """1 in = 25.4 mm and 1 ft = 304.8 mm exactly (NIST SP 811, B.8)."""
    assert read_length(text).value == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(("text", "g"), [("48", 48.0), ("0.048 kg", 48.0), ("1 oz", 28.349523125), ("1 lb", 453.59237)])
def test_masses_come_out_in_grams(text: str, g: float) -> None:
    """1 oz = 28.349 523 125 g, 1 lb = 453.592 37 g exactly (NIST SP 811, B.8)."""
    assert read_mass(text).value == pytest.approx(g, abs=1e-12)


def test_what_stands_after_the_sign_is_how_far_off_it_may_be() -> None:
    assert read_length("210 ± 2").within == 2.0
    assert read_length("21 cm +- 0.2").within == pytest.approx(2.0)
    assert read_length("8 in +/- 1/16").within == pytest.approx(25.4 / 16)
    assert read_length("210 ± 0.2 cm").within == pytest.approx(2.0)


def test_a_fraction_tells_the_step_of_the_ruler() -> None:
    assert read_length("8 3/16 in").step == pytest.approx(25.4 / 16)
    assert read_length("8 in").step is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "wanted a number with or without a unit"),
        ("long", "found 'long'; wanted a number"),
        ("21,5", "write decimals with a point"),
        ("21 kg", "found the unit 'kg'; wanted a number with or without a unit"),
        ("8 5/4 in", "found the fraction 5/4"),
        ("8 1/0 in", "found the fraction 1/0"),
        ("nan", "found 'nan'"),
        ("210 ± 0", "wanted more than 0 after the ±"),
        ("210 ± much", "found 'much'"),
        ("210 200", "found '210 200'"),
    ],
)
def test_what_is_no_length_is_refused(text: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        read_length(text)


def test_one_reading_and_two_ends() -> None:
    """JCGM 100:2008, F.2.2.1: an indication in steps of δx has the standard uncertainty 0.29·δx."""
    assert u_of_step(1.0) == pytest.approx(0.29, abs=0.002)
    assert u_from_end_to_end(1.0) == pytest.approx(0.5 * math.sqrt(2 / 3))


def test_a_taped_distance_carries_reading_tape_and_beams() -> None:
    taped = taped_distance([Reading(1200.0), Reading(1201.0)])
    assert taped.value == 1200.5
    parts = {source.name: u for source, u in taped.contributions.items()}
    assert parts["reading the tape"] == pytest.approx(0.5)  # by their difference, more than by the steps
    assert parts["tape measure"] == pytest.approx(0.36, abs=0.001)
    assert parts["middles of the beams"] == pytest.approx(math.sqrt(2 / 3) * BEAM_MM)


def test_said_limits_count_instead_of_the_tapes_steps() -> None:
    (reading, *_) = taped_distance([Reading(1200.0, within=3.0)]).contributions.values()
    assert reading == pytest.approx(math.sqrt(3))


@pytest.mark.parametrize(
    ("values", "told"),
    [([], "found no taping"), ([-3.0], "wanted a distance above 0"), ([1200.0, 1120.0], "tape it again")],
)
def test_tapings_that_cannot_be_are_refused(values: list[float], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        taped_distance([Reading(v) for v in values])
