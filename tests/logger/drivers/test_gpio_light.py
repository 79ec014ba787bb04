"""A light is switched between the two times that are said."""

from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path

import pytest

from logger.drivers.gpio_light import GpioLight, GpioLightOptions
from logger.errors import DriverError
from tests.logger.drivers.fake_kernel import Controller, Kernel

PIN = 21


@pytest.fixture
def controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Controller:
    return Kernel(tmp_path / "dev", monkeypatch).plug_in(Controller("pinctrl-rp1"))


def test_each_switching_lies_between_its_two_times(controller: Controller) -> None:
    line = controller.lines[PIN]
    with GpioLight(GpioLightOptions(PIN), name="light") as light:
        assert not line.level
        spans = [light.switch(on) for on in (True, False, True)]
    *changes, (_, last) = line.history
    assert [high for _, high in changes] == [True, False, True]
    assert last is False, "dark when it is closed"
    for (before_ns, after_ns), (t_ns, _) in zip(spans, changes, strict=True):
        assert before_ns <= t_ns <= after_ns
    assert all(earlier[1] <= later[0] for earlier, later in pairwise(spans))
    assert spans[-1][1] <= time.monotonic_ns()
    assert line.request is None


def test_a_light_that_is_lit_by_a_low_pin(controller: Controller) -> None:
    with GpioLight(GpioLightOptions(PIN, lit_is="low"), name="light") as light:
        assert controller.lines[PIN].level
        light.switch(True)
        assert not controller.lines[PIN].level


def test_a_light_that_has_gone_says_so(controller: Controller) -> None:
    with GpioLight(GpioLightOptions(PIN), name="light") as light:
        controller.pull_out()
        with pytest.raises(DriverError, match=r"light: the light cannot be switched \(No such device\); .*plug it in"):
            light.switch(True)


def test_a_closed_light_says_so(controller: Controller) -> None:
    with pytest.raises(DriverError, match="light: the light is not open; use it inside `with`"):
        GpioLight(GpioLightOptions(PIN), name="light").switch(True)


def test_a_pin_in_use_is_refused_and_nothing_stays_open(controller: Controller) -> None:
    with (
        GpioLight(GpioLightOptions(PIN), name="lamp"),
        pytest.raises(DriverError, match=r'light: in use already: pin 21 by "boatrun light"'),
    ):
        GpioLight(GpioLightOptions(PIN), name="light").__enter__()
    assert controller.lines[PIN].request is None


def test_a_pin_that_is_not_there_is_refused(controller: Controller) -> None:
    with pytest.raises(DriverError, match="light: the light is on pin 99"):
        GpioLight(GpioLightOptions(99), name="light").__enter__()
