"""gpiozero's own devices work on pins of libgpiod, with the kernel's stamps."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import gpiod
import pytest
from gpiod.line import Bias, Clock, Direction
from gpiozero import (
    LED,
    Button,
    Buzzer,
    GPIOPinInUse,
    PinEdgeDetectUnsupported,
    PinFixedPull,
    PinInvalidFunction,
    PinInvalidPin,
    PinInvalidPull,
    PinSetInput,
)

from logger.drivers.gpio_chips import find_chip
from logger.drivers.gpio_pins import ChipFactory
from logger.errors import DriverError
from tests.logger.drivers.fake_kernel import Controller, Kernel

PIN = 5


@pytest.fixture
def controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Controller:
    return Kernel(tmp_path / "dev", monkeypatch).plug_in(Controller("pinctrl-rp1", 28))


@pytest.fixture
def factory(controller: Controller) -> Iterator[ChipFactory]:
    with ChipFactory(find_chip("", where="panel"), where="panel") as factory:
        yield factory


def test_a_lamp_lights(controller: Controller, factory: ChipFactory) -> None:
    with LED(PIN, pin_factory=factory) as lamp:
        line = controller.lines[PIN]
        assert line.settings.direction is Direction.OUTPUT
        assert not line.level
        lamp.on()
        assert line.level
        assert lamp.is_lit
        lamp.off()
        assert not line.level
    assert controller.lines[PIN].request is None


def test_a_lamp_begins_without_a_blip(controller: Controller, factory: ChipFactory) -> None:
    with LED(PIN, active_high=False, initial_value=False, pin_factory=factory):
        assert controller.lines[PIN].level
        with LED(6, initial_value=True, pin_factory=factory):
            assert [high for _, high in controller.lines[6].history] == [True]


def test_a_buzzer_beeps(controller: Controller, factory: ChipFactory) -> None:
    with Buzzer(PIN, pin_factory=factory) as buzzer:
        buzzer.beep(on_time=0.001, off_time=0.001, n=3, background=False)
    assert [high for _, high in controller.lines[PIN].history] == [True, False] * 3


def test_a_button_tells_of_presses_with_the_kernels_stamps(controller: Controller, factory: ChipFactory) -> None:
    edges: list[tuple[int, bool]] = []
    with Button(PIN, pin_factory=factory) as button:
        line = controller.lines[PIN]
        assert line.settings.bias is Bias.PULL_UP
        assert line.settings.event_clock is Clock.MONOTONIC
        button.pin.when_edge = lambda t_ns, high: edges.append((t_ns, high))
        assert not button.is_pressed
        stamps = [controller.drive(PIN, False), controller.drive(PIN, True), controller.drive(PIN, False)]
        factory.deliver()
        assert button.is_pressed
        assert edges == list(zip(stamps, [False, True, False], strict=True))
        assert button.active_time is not None
        assert 0 <= button.active_time < 60
        controller.drive(PIN, True)
        factory.deliver()
        assert not button.is_pressed
        assert button.active_time is None


def test_with_a_thread_of_its_own_gpiozeros_handlers_are_called_as_usual(controller: Controller) -> None:
    pressed = threading.Event()
    with (
        ChipFactory(find_chip("", where="panel"), where="panel", has_thread=True) as factory,
        Button(PIN, pin_factory=factory) as button,
        Button(6, pin_factory=factory),
    ):
        button.when_pressed = pressed.set
        controller.drive(PIN, False)
        assert pressed.wait(10)
        assert button.wait_for_press(10)


def test_a_handler_that_fails_does_not_silence_the_others(
    controller: Controller, caplog: pytest.LogCaptureFixture
) -> None:
    pressed = threading.Event()

    def fail() -> None:
        raise ValueError("no tea left")

    with (
        ChipFactory(find_chip("", where="panel"), where="panel", has_thread=True) as factory,
        Button(PIN, pin_factory=factory) as button,
        Button(6, pin_factory=factory) as other,
    ):
        button.when_pressed = fail
        other.when_pressed = pressed.set
        controller.drive(PIN, False)
        assert button.wait_for_press(10)
        controller.drive(6, False)
        assert pressed.wait(10)
        controller.drive(PIN, True)
        controller.drive(6, True)
        assert other.wait_for_release(10)
    assert "panel: a handler of a pin failed" in caplog.text


def test_a_device_that_is_forgotten_is_called_no_more(controller: Controller, factory: ChipFactory) -> None:
    class Listener:
        def changed(self, ticks: float, state: int) -> None:
            raise AssertionError("nobody is there")

    pin = factory.pin(PIN)
    pin.function = "input"
    listener = Listener()
    pin.when_changed = listener.changed
    assert pin.when_changed == listener.changed
    del listener
    assert pin.when_changed is None
    controller.drive(PIN, True)
    factory.deliver()


def test_edges_can_be_asked_for_one_way(controller: Controller, factory: ChipFactory) -> None:
    heard: list[bool] = []
    with Button(PIN, pin_factory=factory) as button:
        button.pin.edges = "falling"
        button.pin.when_edge = lambda _, high: heard.append(high)
        controller.drive(PIN, False)
        controller.drive(PIN, True)
        factory.deliver()
    assert heard == [False]


@pytest.mark.parametrize("name", [PIN, "5", "GPIO5", "BCM5"])
def test_a_pin_has_the_usual_names_and_is_always_the_same(factory: ChipFactory, name: int | str) -> None:
    assert factory.pin(name) is factory.pin(PIN)


def test_a_pin_that_the_controller_has_not_is_refused(factory: ChipFactory) -> None:
    with pytest.raises(PinInvalidPin, match="28 is not a valid pin name"):
        LED(28, pin_factory=factory)


def test_two_devices_on_one_pin_are_refused(factory: ChipFactory) -> None:
    with LED(PIN, pin_factory=factory), pytest.raises(GPIOPinInUse, match="pin GPIO5 is already in use"):
        Button(PIN, pin_factory=factory)


def test_a_pin_of_another_program_is_refused_with_its_name(controller: Controller, factory: ChipFactory) -> None:
    gpiod.request_lines(factory.chip.path, {PIN: None}, consumer="door bell")
    with pytest.raises(DriverError, match=r'panel: in use already: pin 5 by "door bell"'):
        LED(PIN, pin_factory=factory)


def wrong_function(pin: Any) -> None:
    pin.function = "pwm"


def set_an_input(pin: Any) -> None:
    pin.state = 1


def pull_an_output(pin: Any) -> None:
    pin.function = "output"
    pin.pull = "up"


def wrong_pull(pin: Any) -> None:
    pin.pull = "sideways"


def wrong_edges(pin: Any) -> None:
    pin.edges = "some"


def debounce(pin: Any) -> None:
    pin.bounce = 0.01


@pytest.mark.parametrize(
    ("do", "error", "words"),
    [
        (wrong_function, PinInvalidFunction, 'function "pwm"'),
        (set_an_input, PinSetInput, "is an input"),
        (pull_an_output, PinFixedPull, "is an output"),
        (wrong_pull, PinInvalidPull, 'pull "sideways"'),
        (wrong_edges, PinEdgeDetectUnsupported, 'edges "some"'),
        (debounce, PinEdgeDetectUnsupported, "does not debounce"),
    ],
)
def test_what_a_pin_cannot_do_is_refused(factory: ChipFactory, do: Any, error: type[Exception], words: str) -> None:
    pin = factory.pin(PIN)
    with pytest.raises(error, match=words):
        do(pin)


def test_a_pin_can_be_an_input_with_pull_at_once(controller: Controller, factory: ChipFactory) -> None:
    pin = factory.pin(PIN)
    pin.output_with_state(1)
    assert (pin.function, pin.state, pin.bounce, pin.edges) == ("output", 1, None, "both")
    pin.input_with_pull("down")
    assert (pin.function, pin.pull, pin.state) == ("input", "down", 0)


def test_a_closed_pin_says_so(factory: ChipFactory) -> None:
    pin = factory.pin(PIN)
    pin.close()
    with pytest.raises(DriverError, match="panel: pin 5 is closed; open the device again"):
        assert pin.state


def test_a_controller_that_was_pulled_out_is_noticed(controller: Controller, factory: ChipFactory) -> None:
    with Button(PIN, pin_factory=factory):
        controller.pull_out()
        with pytest.raises(OSError, match="pin 5: the kernel has hung up"):
            factory.deliver()


def test_time_is_the_one_clock_in_seconds(factory: ChipFactory) -> None:
    earlier = factory.ticks()
    assert 0 <= factory.ticks_diff(factory.ticks(), earlier) < 60
