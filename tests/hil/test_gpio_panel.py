"""Panel, light and gpiozero's devices on a real kernel: gpio-sim presses the buttons and sees the lamps."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from gpiozero import LED, Button

from logger.drivers.gpio_chips import find_chip
from logger.drivers.gpio_light import GpioLight, GpioLightOptions
from logger.drivers.gpio_panel import BEAT_NS, GpioPanel, GpioPanelOptions
from logger.drivers.gpio_pins import ChipFactory
from logger.records import Fault, Key
from tests.hil.chip import Chip
from tests.hil.hearing import hearing

pytestmark = pytest.mark.hil

ARM, VOID, LAMP = 0, 1, 2
OPTIONS = GpioPanelOptions(arm_pin=ARM, void_pin=VOID, lamp_pin=LAMP, button_pull="down", chip="tank")


def press(chip: Chip, line: int, heard: Any, key: str, count: int) -> list[tuple[int, int]]:
    """Press with bounces, and let go when the press is told; the windows of the first touch and of the last."""
    touches = [chip.pull(line, True)]
    chip.settle(line)
    chip.pull(line, False)
    chip.settle(line)
    touches.append(chip.pull(line, True))
    heard.until(lambda: len([k for k in heard.records(Key) if k.key == key]) >= count, f"press {count} of {key}")
    chip.pull(line, False)
    return touches


def test_presses_are_told_once_each_stamped_in_the_window_of_the_first_touch(chip: Chip) -> None:
    """Where the emulated kernel got no turn between the first touch and the bounce, it has seen neither."""
    with hearing(GpioPanel(OPTIONS, name="panel")) as heard:
        presses = []
        for count in range(1, 6):
            presses.append(press(chip, ARM, heard, "arm", count))
            presses.append(press(chip, VOID, heard, "void", count))
            heard.until_quiet(presses[-1][-1][1] + 200_000_000)  # the button is at rest again
    keys = heard.records(Key)
    assert [key.key for key in keys] == ["arm", "void"] * 5
    which = [
        [before_ns <= key.t_ns <= after_ns for before_ns, after_ns in touches]
        for key, touches in zip(keys, presses, strict=True)
    ]
    assert all(any(told) for told in which), which
    assert sum(first for first, _ in which) >= 8, which
    assert heard.records(Fault) == []


def test_the_lamp_follows_what_is_shown(chip: Chip) -> None:
    panel = GpioPanel(OPTIONS, name="panel")
    with hearing(panel) as heard:
        panel.show("armed")
        assert chip.is_high(LAMP)
        panel.show("running")
        seen = set()
        heard.until(lambda: seen.add(chip.is_high(LAMP)) or len(seen) == 2, "a flash")
        panel.show("armed")
        assert chip.is_high(LAMP)
    assert not chip.is_high(LAMP)
    assert BEAT_NS > 20_000_000


def test_a_panel_whose_chip_has_gone_ends_in_a_lasting_fault(chip: Chip) -> None:
    panel = GpioPanel(OPTIONS, name="panel")
    with hearing(panel) as heard:
        heard.until_at_work()
        chip.unplug()
        *_, last = heard.until_over()
        panel.show("trouble")
    assert isinstance(last, Fault)
    assert last.lasting
    assert "cannot be read any more" in last.what


def test_each_switching_of_the_light_is_seen_by_the_line_after_it(chip: Chip) -> None:
    with GpioLight(GpioLightOptions(LAMP, chip="tank"), name="light") as light:
        spans = []
        for number in range(50):
            spans.append(light.switch(number % 2 == 0))
            assert chip.is_high(LAMP) is (number % 2 == 0)
    assert not chip.is_high(LAMP)
    widths_ns = sorted(after_ns - before_ns for before_ns, after_ns in spans)
    print(f"\nlight switched within {widths_ns[25] / 1e6:.3f} ms (median), {widths_ns[-1] / 1e6:.3f} ms (worst)")
    assert widths_ns[0] > 0


def test_gpiozeros_own_devices_work_with_their_handlers(chip: Chip) -> None:
    pressed = threading.Event()
    with (
        ChipFactory(find_chip("tank", where="bench"), where="bench", has_thread=True) as factory,
        Button(ARM, pull_up=False, pin_factory=factory) as button,
        LED(LAMP, pin_factory=factory) as lamp,
    ):
        button.when_pressed = pressed.set
        lamp.on()
        assert chip.is_high(LAMP)
        chip.pull(ARM, True)
        assert pressed.wait(30)
        assert button.is_pressed
        chip.pull(ARM, False)
        assert button.wait_for_release(30)
