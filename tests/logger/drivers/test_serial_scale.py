"""Lines of scales, and weighing on a scale that rings."""

from __future__ import annotations

import math
import os
import pty
import threading
import tty
from collections import deque
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from logger.drivers import open_driver
from logger.drivers.interface import SelfTesting, Weighing
from logger.drivers.serial_scale import AGREE_NS, Reading, SerialScale, is_steady, reading
from logger.errors import DriverError
from tests.logger.drivers.serial_scale_world import FakeScale, scale

MS = 1_000_000


def driver_of(there: FakeScale, **options: Any) -> SerialScale:
    driver = open_driver("serial_scale", {"port": there.port} | options, name="scale")
    assert isinstance(driver, SerialScale)
    return driver


@pytest.mark.parametrize(
    ("line", "mass_g", "step_g"),
    [
        (b"182.4 g", 182.4, 0.1),
        (b"  +   182.4 g  \r", 182.4, 0.1),
        (b"182,4g", 182.4, 0.1),
        (b"0.1824 kg", 182.4, 0.1),
        (b"1,82 KG", 1820, 10),
        (b"182 g", 182, 1),
        (b"steady, net:   182.40 g", 182.4, 0.01),
        (b"N     0.0 g", 0, 0.1),
        (b"-0.0 g", 0, 0.1),
        (b"w 12.3 g ?", 12.3, 0.1),
        (b"a,b,12.3 g", 12.3, 0.1),
    ],
)
def test_a_value_with_its_unit_is_understood(line: bytes, mass_g: float, step_g: float) -> None:
    shown = reading(line)
    assert shown.mass_g == pytest.approx(mass_g, abs=1e-9)
    assert shown.step_g == pytest.approx(step_g)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"-12.3 g", "below zero; empty the pan, set it to zero"),
        (b"- 12.3 g", "below zero"),
        (b"182.4", "has no unit; set the scale to print g or kg"),
        (b"n: 182.4  ", "has no unit"),
        (b"OL", "no number: too much load, or a message"),
        (b"------ g", "no number"),
        (b"182.4 oz", "not one value in g or kg"),
        (b"182.4 gn", "not one value in g or kg"),
        (b"1 182.4 g", "not one value in g or kg"),
        (b"12.3 g 182.4 g", "not one value in g or kg"),
        (b"1,182.4 g", "not one value in g or kg"),
        (b".5 g", "not one value in g or kg"),
        (b"+ ,5 g", "not one value in g or kg"),
        (b"net: .5 g", "not one value in g or kg"),
        (b"1,234 g", "thousands or thousandths; say which by decimal_mark"),
        (b"\xff\xfe", "no number"),
        (b"", "an empty line"),
    ],
)
def test_what_is_no_weight_is_refused_in_words(line: bytes, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        reading(line)


def test_the_decimal_mark_can_be_told() -> None:
    assert reading(b"1,234 g", decimal_mark="comma") == Reading(1.234, 0.001)
    with pytest.raises(ValueError, match="not the point that decimal_mark says"):
        reading(b"1,234 g", decimal_mark="point")
    assert reading(b"12 g", decimal_mark="comma").mass_g == 12


@given(
    digits=st.integers(0, 999_999),
    decimals=st.sampled_from([0, 1, 2, 4]),
    mark=st.sampled_from([".", ","]),
    unit=st.sampled_from(["g", "kg"]),
    before=st.sampled_from(["", "+", " + ", "G, S: ", "net   "]),
    blanks=st.integers(0, 4),
)
def test_what_a_scale_prints_is_what_is_read(
    digits: int, decimals: int, mark: str, unit: str, before: str, blanks: int
) -> None:
    shown = Decimal(digits).scaleb(-decimals)
    line = f"{before}{shown:.{decimals}f}{' ' * blanks}{unit}".replace(".", mark).encode()
    read = reading(line)
    factor = 1000 if unit == "kg" else 1
    assert Decimal(str(read.mass_g)) == (shown * factor).normalize()
    assert read.step_g == pytest.approx(factor * 10.0**-decimals)


@given(st.binary(max_size=40))
@example(b"9" * 300 + b" g")
@example("١٢ g".encode())
def test_any_line_is_a_weight_or_a_sentence(line: bytes) -> None:
    try:
        shown = reading(line)
    except ValueError as error:
        assert "found" in str(error)  # noqa: PT017 - either is right
    else:
        assert shown.mass_g >= 0
        assert shown.step_g > 0


def test_a_steady_boat_is_weighed_with_the_doubt_of_its_last_digit() -> None:
    """JCGM 100:2008, F.2.2.1: u = 0.29 of a step that is read off."""
    with scale(182.4) as there, driver_of(there) as driver:
        weighing = driver.weigh(10)
    assert weighing.is_steady
    assert weighing.mass_g == pytest.approx(182.4)
    assert weighing.u_mass_g == pytest.approx(0.29 * 0.1, rel=0.01)
    assert weighing.u_mass_g == pytest.approx(0.1 / math.sqrt(12))


def test_a_step_that_is_more_than_the_last_digit_can_be_told() -> None:
    with scale(185, step_g=5, form="{:.0f} g\r\n".format) as there, driver_of(there, step_g=5) as driver:
        weighing = driver.weigh(10)
    assert weighing.mass_g == 185
    assert weighing.u_mass_g == pytest.approx(5 / math.sqrt(12))


def test_a_ringing_scale_is_waited_for() -> None:
    with scale(182.4) as there, driver_of(there) as driver:
        there.ringing_g = 20
        calm = threading.Timer(0.5, setattr, (there, "ringing_g", 0.0))
        calm.start()
        weighing = driver.weigh(10)
        calm.join()
    assert weighing.is_steady
    assert weighing.mass_g == pytest.approx(182.4)


def test_a_scale_that_never_rests_gives_its_last_reading_with_its_scatter() -> None:
    with scale(182.4) as there, driver_of(there) as driver:
        there.ringing_g = 20
        weighing = driver.weigh(0.6)
    assert not weighing.is_steady
    assert abs(weighing.mass_g - 182.4) <= 20.1
    assert 5 < weighing.u_mass_g < 30


def test_what_was_printed_before_the_question_does_not_count() -> None:
    with scale(50.0) as there, driver_of(there) as driver:
        assert driver.weigh(10).mass_g == 50
        there.load_g = 182.4
        assert driver.weigh(10).mass_g == pytest.approx(182.4)


@pytest.mark.parametrize(
    ("form", "why"),
    [
        (lambda _: "OL\r\n", "no number: too much load, or a message of the scale; a weight of 0 or more"),
        (lambda g: f"{-g:.1f} g\r\n", "below zero"),
        (lambda g: f"{g:.1f}\r\n", "no unit"),
        (lambda _: "", "nothing came; set the scale to print continuously"),
    ],
)
def test_where_no_weight_comes_it_is_said_what_came(form: Any, why: str) -> None:
    with scale(182.4, form=form) as there, driver_of(there) as driver, pytest.raises(DriverError, match=why):
        driver.weigh(0.5)


def test_what_it_showed_before_it_was_overloaded_is_no_weight() -> None:
    lines = iter(["100.0 g\r\n"] * 4 + ["OL\r\n"] * 1000)
    with (
        scale(form=lambda _: next(lines)) as there,
        driver_of(there) as driver,
        pytest.raises(DriverError, match="too much load"),
    ):
        driver.weigh(0.5)


def test_a_line_that_is_no_weight_begins_the_agreement_anew() -> None:
    lines = iter(["100.0 g\r\n"] * 4 + ["OL\r\n"] + ["200.0 g\r\n"] * 60)
    with scale(form=lambda _: next(lines)) as there, driver_of(there) as driver:
        assert driver.weigh(10).mass_g == 200


def test_a_scale_that_ends_its_lines_by_a_return_is_understood() -> None:
    with scale(form="{:.1f} g\r".format) as there, driver_of(there) as driver:
        assert driver.weigh(10).mass_g == pytest.approx(182.4)


@pytest.mark.parametrize("bits", ["7E1", "7O1"])
def test_other_bits_on_the_wire_can_be_asked_for(bits: str) -> None:
    with scale() as there, driver_of(there, bits=bits) as driver:
        assert driver.weigh(10).is_steady  # a pseudo-terminal has no bits; it must only be taken


@pytest.fixture
def unplugged() -> Iterator[SerialScale]:
    far, near = pty.openpty()
    tty.setraw(near)
    driver = open_driver("serial_scale", {"port": os.ttyname(near)}, name="scale")
    with driver:
        os.close(far)
        os.close(near)
        yield driver


def test_a_scale_that_is_unplugged_is_told(unplugged: SerialScale) -> None:
    with pytest.raises(DriverError, match=r"the port has gone: .*; plug the scale in again"):
        unplugged.weigh(5)
    (finding,) = unplugged.self_test()
    assert finding.health == "wrong"


def test_its_self_test_says_what_it_shows() -> None:
    with scale() as there, driver_of(there) as driver:
        assert isinstance(driver, SelfTesting)
        (well,) = driver.self_test()
        there.ringing_g = 30
        (restless,) = driver.self_test()
    assert (well.health, restless.health) == ("well", "doubtful")
    assert "it shows 182.4 g (standard uncertainty 0.029 g)" in well.found
    assert "hands off" in restless.cure


def weighings(masses_g: list[float], every_ns: int = 100 * MS) -> deque[Weighing]:
    return deque(Weighing(i * every_ns, mass, 0.1 / math.sqrt(12), False) for i, mass in enumerate(masses_g))


def test_steady_means_five_lines_within_one_step_over_a_while() -> None:
    assert is_steady(weighings([10.0, 10.1, 10.0, 10.1, 10.1]))
    assert not is_steady(weighings([10.0, 10.1, 10.0, 10.1]))
    assert not is_steady(weighings([10.0, 10.1, 10.2, 10.1, 10.1])), "two steps"
    assert not is_steady(weighings([10.0] * 5, every_ns=AGREE_NS // 5)), "too fast to say"
    assert is_steady(weighings([10.0] * 20, every_ns=AGREE_NS // 5))
    assert is_steady(weighings([99.0, 10.0, 10.0, 10.0, 10.0, 10.0]))
