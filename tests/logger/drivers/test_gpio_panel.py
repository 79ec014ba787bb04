"""Buttons, lamp and buzzer, in a world whose time moves only when the driver waits."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import pytest
from gpiod.line import Bias

from logger.drivers.gpio_panel import BEAT_NS, BUZZER, LAMP, GpioPanel, GpioPanelOptions
from logger.drivers.interface import Shown
from logger.errors import DriverError
from logger.records import Fault, Key, Quiet
from tests.logger.drivers.fake_kernel import BEGINS_NS, Kernel, World

MS = 1_000_000
ARM, GO, VOID, BULB, BEEPER = 5, 6, 12, 13, 19
EVERY = {"arm_pin": ARM, "go_pin": GO, "void_pin": VOID, "lamp_pin": BULB, "buzzer_pin": BEEPER}


@pytest.fixture
def world(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> World:
    world = World()
    Kernel(tmp_path / "dev", monkeypatch).plug_in(world.controller)
    return world


def panel(world: World, **options: Any) -> GpioPanel:
    kept = GpioPanelOptions(**(options or EVERY))
    return GpioPanel(kept, name="panel", clock=lambda: world.now_ns, wait=world.wait)


def told(world: World, **options: Any) -> list[Any]:
    with panel(world, **options) as driver:
        return [record for record in driver.records(world.stop) if not isinstance(record, Quiet)]


def test_each_button_is_a_key_stamped_at_the_first_touch(world: World) -> None:
    stamps = []
    for ms, pin in ((100, ARM), (400, GO), (700, VOID)):
        stamps.append(world.drive(ms, pin, False))
        world.drive(ms + 1, pin, True)  # bounces
        world.drive(ms + 2.5, pin, False)
        world.drive(ms + 150, pin, True)
    world.stop_at(1100)
    assert told(world) == [Key(t_ns, key, "panel") for t_ns, key in zip(stamps, ("arm", "go", "void"), strict=True)]  # type: ignore[arg-type]


def test_buttons_to_3_volts_are_pulled_down(world: World) -> None:
    pressed_ns = world.drive(100, ARM, True)
    world.at(120, lambda: pulls.append(world.controller.lines[ARM].settings.bias))
    pulls: list[Bias] = []
    world.stop_at(400)
    assert told(world, arm_pin=ARM, button_pull="down") == [Key(pressed_ns, "arm", "panel")]
    assert pulls == [Bias.PULL_DOWN]


def test_a_press_that_bounces_across_a_look_breaks_no_promise(world: World) -> None:
    first_ns = world.drive(100, ARM, False)
    for step in range(8):
        world.drive(105 + 5 * step, ARM, step % 2 == 0)
    world.stop_at(500)
    with panel(world) as driver:
        records = list(driver.records(world.stop))
    stamps = [record.t_ns for record in records]
    assert stamps == sorted(stamps)
    assert max(b - a for a, b in pairwise(stamps)) <= 100 * MS
    (at,) = [index for index, record in enumerate(records) if isinstance(record, Key)]
    assert records[at].t_ns == first_ns
    assert all(record.t_ns < first_ns for record in records[:at])


def test_an_edge_that_ran_together_with_another_is_made_good_by_the_level(world: World) -> None:
    def press_unheard() -> None:
        line = world.controller.lines[ARM]
        push, line.request.push = line.request.push, lambda *_: None  # type: ignore[union-attr, method-assign, assignment]
        world.controller.drive(ARM, False)
        line.request.push = push  # type: ignore[union-attr, method-assign]

    world.at(100, press_unheard)
    world.stop_at(400)
    (key,) = told(world)
    assert key.key == "arm"
    assert 100 * MS <= key.t_ns - BEGINS_NS <= 120 * MS


def test_a_loose_wire_presses_nothing_and_is_said_now_and_then(world: World) -> None:
    for step in range(400):
        world.drive(100 + 4 * step, ARM, step % 2 == 1)
    world.stop_at(1900)
    records = told(world)
    assert {record.what for record in records if isinstance(record, Fault)} == {
        "button arm: its contact comes to no rest"
    }
    assert len(records) <= 3


def test_a_panel_may_have_only_a_lamp(world: World) -> None:
    world.stop_at(300)
    with panel(world, lamp_pin=BULB) as driver:
        driver.show("armed")
        assert world.controller.lines[BULB].level
        assert all(isinstance(record, Quiet) for record in driver.records(world.stop))
    assert not world.controller.lines[BULB].level


def test_a_panel_may_have_only_a_button(world: World) -> None:
    pressed_ns = world.drive(100, GO, False)
    world.stop_at(300)
    with panel(world, go_pin=GO) as driver:
        driver.show("running")
        assert [r for r in driver.records(world.stop) if isinstance(r, Key)] == [Key(pressed_ns, "go", "panel")]


def shown(world: World, what: Shown, *, for_ms: int) -> tuple[str, str]:
    """What lamp and buzzer did, beat by beat, as seen in the middle of each beat."""
    with panel(world) as driver:
        driver.show(what)
        begun_ns = world.now_ns
        world.stop_at((begun_ns - BEGINS_NS) / MS + for_ms)
        list(driver.records(world.stop))
        seen = []
        for pin in (BULB, BEEPER):
            changes = [(0, False), *((t, high) for t, high in world.controller.lines[pin].history if t <= world.now_ns)]
            middles = range(begun_ns + BEAT_NS // 2, begun_ns + for_ms * MS, BEAT_NS)
            seen.append("".join(str(int([high for t, high in changes if t <= m][-1])) for m in middles))
        return seen[0], seen[1]


@pytest.mark.parametrize("what", get_args(Shown))
def test_lamp_and_buzzer_keep_to_the_rhythm_of_what_is_shown(world: World, what: Shown) -> None:
    lamp, buzzer = shown(world, what, for_ms=4000)
    beats = len(lamp)
    assert lamp == (LAMP[what] * 40)[:beats]
    assert buzzer == BUZZER[what].ljust(beats, "0")


def test_no_rhythm_flashes_more_than_three_times_a_second() -> None:
    """WCAG 2.2, success criterion 2.3.1: at most three flashes in any one-second period."""
    second = 1_000_000_000 // BEAT_NS
    for rhythm in LAMP.values():
        beats = rhythm * (2 + 2 * second // len(rhythm) + 2)
        for start in range(1, len(beats) - second):
            begins = [beats[i - 1 : i + 1] for i in range(start, start + second)]
            assert begins.count("01") <= 3


def test_every_state_has_a_rhythm_of_its_own_told_apart_by_flashes_or_by_length() -> None:
    def look(rhythm: str) -> tuple[int, float]:
        beats = rhythm + rhythm[0]
        return sum(beats[i : i + 2] == "01" for i in range(len(rhythm))), round(rhythm.count("1") / len(rhythm), 1)

    assert len({look(rhythm) for rhythm in LAMP.values()}) == len(get_args(Shown))


def test_showing_never_raises_and_a_lamp_that_has_gone_is_told_in_the_records(world: World) -> None:
    with panel(world, lamp_pin=BULB) as driver:
        world.controller.pull_out()
        driver.show("trouble")
        (fault,) = [record for record in driver.records(world.stop) if isinstance(record, Fault)]
    assert fault.lasting
    assert "cannot be read any more" in fault.what
    driver.show("done")  # closed: nothing happens


def test_a_button_that_is_held_or_chatters_is_doubtful(world: World) -> None:
    world.controller.drive(GO, False)
    for step in range(60):
        world.drive(10 + 4 * step, ARM, step % 2 == 1)
    world.stop_at(240)
    with panel(world) as driver:
        list(driver.records(world.stop))
        found = {finding.part: (finding.health, finding.found) for finding in driver.self_test()}
    assert found == {
        "button arm": ("doubtful", "its contact comes to no rest"),
        "button go": ("doubtful", "it is held down"),
        "button void": ("well", "not pressed"),
    }


def test_no_pin_at_all_is_refused(world: World) -> None:
    driver = GpioPanel(GpioPanelOptions(), name="panel")
    with pytest.raises(DriverError, match=r"panel: no pin is named; .*or leave the panel out"):
        driver.__enter__()


def test_a_lamp_on_a_buttons_pin_is_refused(world: World) -> None:
    with pytest.raises(DriverError, match=r"panel: arm and lamp are both on pin 5"):
        panel(world, arm_pin=5, lamp_pin=5).__enter__()


def test_a_pin_in_use_leaves_nothing_taken(world: World) -> None:
    with panel(world, lamp_pin=BULB), pytest.raises(DriverError, match=r'in use already: pin 13 by "boatrun panel"'):
        panel(world).__enter__()
    assert all(line.request is None for line in world.controller.lines)


def test_a_panel_outside_with_says_so(world: World) -> None:
    with pytest.raises(DriverError, match="panel: the panel is not open; use it inside `with`"):
        next(iter(panel(world).records(world.stop)))
