"""The controller with the pins is found by its label, and whoever cannot have a pin is told why."""

from __future__ import annotations

import errno
from pathlib import Path

import gpiod
import pytest
from gpiod.line import Bias

from logger.drivers.gpio_chips import BIAS, HEADER_LABELS, Chip, check_pins, find_chip, refusal
from logger.errors import DriverError
from tests.logger.drivers.fake_kernel import Controller, Kernel


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Kernel:
    kernel = Kernel(tmp_path / "dev", monkeypatch)
    kernel.plug_in(Controller("raspberrypi-exp-gpio", 8), "gpiochip1")
    return kernel


@pytest.mark.parametrize("label", HEADER_LABELS)
def test_the_header_of_a_raspberry_pi_is_found_whatever_its_number(kernel: Kernel, label: str) -> None:
    kernel.plug_in(Controller(label, 54), "gpiochip4")
    (kernel.folder / "gpiochip0").symlink_to(kernel.folder / "gpiochip4")  # as newer kernels of a Pi 5 do
    kernel.controllers[str(kernel.folder / "gpiochip0")] = kernel.controllers[str(kernel.folder / "gpiochip4")]
    chip = find_chip("", where="gates")
    assert (chip.label, chip.number, chip.lines_count) == (label, 4, 54)


@pytest.mark.parametrize("wanted", ["gpio-sim.0", "gpiochip2", "{folder}/gpiochip2"])
def test_any_controller_can_be_named_by_label_name_or_path(kernel: Kernel, wanted: str) -> None:
    kernel.plug_in(Controller("gpio-sim.0", 16), "gpiochip2")
    assert find_chip(wanted.format(folder=kernel.folder), where="gates").label == "gpio-sim.0"


def test_none_that_fits_is_refused_with_those_seen(kernel: Kernel) -> None:
    with pytest.raises(
        DriverError, match=r"gates: no GPIO controller is .*pinctrl-rp1.*gpiochip1 \(raspberrypi-exp-gpio, 8"
    ):
        find_chip("", where="gates")


def test_several_that_fit_are_refused(kernel: Kernel) -> None:
    kernel.plug_in(Controller("raspberrypi-exp-gpio", 16), "gpiochip2")
    with pytest.raises(
        DriverError, match=r'several GPIO controller is "raspberrypi-exp-gpio"; seen were gpiochip1.*chip2'
    ):
        find_chip("raspberrypi-exp-gpio", where="gates")


def test_a_computer_without_controllers_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Kernel(tmp_path / "dev", monkeypatch)
    with pytest.raises(DriverError, match=r"no GPIO controller in .*dev; .*run on the board that has it"):
        find_chip("", where="gates")


def test_who_may_not_open_the_controller_is_told_of_the_group(kernel: Kernel) -> None:
    kernel.plug_in(Controller("pinctrl-rp1"), "gpiochip0").is_forbidden = True
    with pytest.raises(DriverError, match=r"may not open .*gpiochip0; .*add this user to the group gpio"):
        find_chip("", where="gates")


CHIP = Chip("/dev/gpiochip0", "pinctrl-rp1", 54)


@pytest.mark.parametrize(
    ("pins", "complaint"),
    [
        ({"gate A": 17, "gate B": 17}, "gate A and gate B are both on pin 17"),
        ({"gate A": 54}, r"gate A is on pin 54; gpiochip0 \(pinctrl-rp1, 54 lines\) has pins 0 to 53"),
        ({"gate A": -1}, "gate A is on pin -1"),
        ({"gate A": "17"}, "gate A is on pin '17'; a whole number is wanted"),
        ({"gate A": True}, "gate A is on pin True; a whole number is wanted"),
    ],
)
def test_pins_that_cannot_be_are_refused(pins: dict[str, int], complaint: str) -> None:
    check_pins({"gate A": 0, "gate B": 53}, CHIP, where="gates")  # all is well
    with pytest.raises(DriverError, match=rf"gates: {complaint}"):
        check_pins(pins, CHIP, where="gates")


def test_who_has_the_pin_is_named(kernel: Kernel) -> None:
    with gpiod.Chip(str(kernel.folder / "gpiochip1")) as chip:
        chip.request_lines({3: None}, consumer="door bell")
    chip1 = find_chip("gpiochip1", where="gates")
    error = refusal(OSError(errno.EBUSY, "busy"), chip1, [2, 3], where="gates")
    assert str(error).startswith('gates: in use already: pin 3 by "door bell"; ')


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, "group gpio"),
        (errno.ENODEV, "has gone"),
        (errno.EINVAL, r"pin 2 of gpiochip0 \(pinctrl-rp1, 54 lines\) cannot be had \(Invalid argument\)"),
    ],
)
def test_every_refusal_says_what_to_do(number: int, words: str) -> None:
    with pytest.raises(DriverError, match=rf"gates: (?=.*{words}).*; .*"):
        raise refusal(OSError(number, "?"), CHIP, [2], where="gates")


def test_pulls_are_the_librarys() -> None:
    assert BIAS == {"up": Bias.PULL_UP, "down": Bias.PULL_DOWN, "none": Bias.DISABLED}
