"""A panel on GPIO pins: buttons for arm, go and void, a lamp, a buzzer. Each is optional, and so is the panel.

Buttons connect their pin to ground (or, with button_pull = "down", to 3.3 V). A press counts from the first touch of
its contact, as the kernel stamped it; whether it was one is known some milliseconds later (presses.py).

The lamp says where the run stands by its rhythm, not by its colour, so that everybody can read it: one short flash in
two seconds, not ready; slowly on and off, ready; steady, hands out; two flashes a second, a boat is under way; two
flashes and a pause, it is over; three flashes and a pause, trouble. Never more than three flashes in a second: more can
harm people with photosensitive epilepsy (WCAG 2.2, success criterion 2.3.1). The rhythm is beaten while somebody
listens to the records; otherwise the lamp stays as `show` left it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, ClassVar, Literal, Self

from gpiozero import LED, Buzzer, DigitalInputDevice

from logger.drivers.gpio_chips import check_pins, find_chip
from logger.drivers.gpio_pins import ChipFactory
from logger.drivers.in_order import InOrder
from logger.drivers.interface import Finding, Shown, Stop
from logger.drivers.presses import Contact
from logger.errors import DriverError
from logger.records import Fault, Key, KeyName, Quiet
from logger.settings import Range, Text

LOOK_EVERY_S = 0.02
SETTLE_NS = 50_000_000
"""An edge that has not been read this long after its stamp is not coming any more."""
BEAT_NS = 100_000_000
"""One letter of a rhythm."""
LAMP: Mapping[Shown, str] = {
    "not_ready": "1" + "0" * 19,
    "ready": "1" * 10 + "0" * 10,
    "armed": "1",
    "running": "11000",
    "done": "1100110000000000",
    "trouble": "11001100110000000000",
}
"""Over and over: 1 lit, 0 dark."""
BUZZER: Mapping[Shown, str] = {
    "not_ready": "",
    "ready": "",
    "armed": "111",
    "running": "1",
    "done": "110011",
    "trouble": "11100111001110",
}
"""Once, as it comes to that."""
CHATTER_AGAIN_NS = 1_000_000_000
_PULLED_OUT = "plug the controller in again, or start the board anew, and go on by keyboard or page"

Pin = Annotated[int, Range(least=0)]


@dataclass(frozen=True, slots=True)
class GpioPanelOptions:
    """What rig.toml says of a panel on pins; what is left out is not there."""

    arm_pin: Pin | None = None
    go_pin: Pin | None = None
    void_pin: Pin | None = None
    lamp_pin: Pin | None = None
    buzzer_pin: Pin | None = None
    """An active buzzer, which sounds while the pin is high."""
    button_pull: Literal["up", "down"] = "up"
    chip: Annotated[str, Text(most=200)] = ""
    """Label or name of the controller; empty: the one of a Raspberry Pi's header."""

    def pins(self) -> dict[str, int]:
        """What hangs on which pin."""
        every = {
            "arm": self.arm_pin,
            "go": self.go_pin,
            "void": self.void_pin,
            "lamp": self.lamp_pin,
            "buzzer": self.buzzer_pin,
        }
        return {name: pin for name, pin in every.items() if pin is not None}


class GpioPanel:
    """The buttons, the lamp and the buzzer of one controller."""

    Options: ClassVar[type] = GpioPanelOptions

    def __init__(
        self,
        options: GpioPanelOptions,
        *,
        name: str,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._desk: _Desk | None = None

    def __enter__(self) -> Self:
        pins = self._options.pins()
        if not pins:
            raise DriverError(f"{self.name}: no pin is named; one at least is wanted; or leave the panel out")
        chip = find_chip(self._options.chip, where=self.name)
        check_pins(pins, chip, where=self.name)
        factory = ChipFactory(chip, where=self.name)
        try:
            self._desk = _Desk(self._options, factory, name=self.name, clock=self._clock)
        except BaseException:
            factory.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self._desk is not None:
            self._desk.close()
            self._desk = None

    def records(self, stop: Stop) -> Iterator[Key | Quiet | Fault]:
        """Each press with the stamp of its first touch; until `stop`, or unplugged. Beats lamp and buzzer."""
        desk = self._opened()
        while not stop.is_set():
            try:
                yield from desk.step()
            except OSError as error:
                yield from desk.gone(error)
                return
            self._wait(LOOK_EVERY_S)

    def show(self, shown: Shown) -> None:
        """Say it by lamp and buzzer from now on."""
        if self._desk is not None:
            self._desk.show(shown)

    def self_test(self) -> list[Finding]:
        """Whether a button is stuck or chatters. Lamp and buzzer cannot be felt from here."""
        return self._opened().findings()

    def _opened(self) -> _Desk:
        if self._desk is None:
            raise DriverError(f"{self.name}: the panel is not open; use it inside `with`")
        return self._desk


class _Desk:
    """The panel from one opening to the closing."""

    def __init__(self, options: GpioPanelOptions, factory: ChipFactory, *, name: str, clock: Callable[[], int]) -> None:
        self._name, self._factory, self._clock = name, factory, clock
        self._begun_ns = self._whole_ns = clock()
        pins = options.pins()
        self._buttons: dict[KeyName, Any] = {}
        self._contacts: dict[KeyName, Contact] = {}
        self._said_ns: dict[KeyName, int] = {}
        keys: tuple[KeyName, ...] = ("arm", "go", "void")
        for key in keys:
            if key in pins:
                self._add_button(key, pins[key], pull_up=options.button_pull == "up")
        self._lamp = LED(pins["lamp"], pin_factory=factory) if "lamp" in pins else None
        self._buzzer = Buzzer(pins["buzzer"], pin_factory=factory) if "buzzer" in pins else None
        self._lock = threading.Lock()
        self._shown: Shown = "not_ready"
        self._since_ns = self._begun_ns
        self._order = InOrder(source=name, begins_ns=self._begun_ns)

    def _add_button(self, key: KeyName, pin: int, *, pull_up: bool) -> None:
        # gpiozero's Button would add a thread that waits for being held, which we do not want
        button = DigitalInputDevice(pin, pull_up=pull_up, pin_factory=self._factory)
        self._buttons[key] = button
        self._contacts[key] = Contact(pressed=bool(button.value))
        button.pin.when_edge = partial(self._edge, key, pull_up)

    def _edge(self, key: KeyName, pull_up: bool, t_ns: int, high: bool) -> None:
        self._contacts[key].edge(t_ns, pressed=high != pull_up)

    def step(self) -> Iterator[Key | Quiet | Fault]:
        """Read, decide what is certain, and beat the rhythm."""
        asked_ns = self._clock()
        self._factory.deliver()
        for key, button in self._buttons.items():
            contact = self._contacts[key]
            if contact.undecided_ns is None and bool(button.value) != contact.pressed:
                contact.edge(asked_ns, pressed=not contact.pressed)  # its edge ran together with another
        self._whole_ns = asked_ns
        self._beat(asked_ns)
        yield from self._settle(asked_ns - SETTLE_NS)

    def _settle(self, certain_ns: int) -> Iterator[Key | Quiet | Fault]:
        horizon_ns = certain_ns
        for key, contact in self._contacts.items():
            for t_ns in contact.past(certain_ns):
                self._order.add(Key(t_ns, key, self._name))
            if contact.undecided_ns is not None:
                horizon_ns = min(horizon_ns, contact.undecided_ns - 1)
            self._complain(key, contact)
        for record in self._order.up_to(horizon_ns):
            if isinstance(record, Key | Quiet | Fault):
                yield record

    def _complain(self, key: KeyName, contact: Contact) -> None:
        at_ns, said_ns = contact.chattered_ns, self._said_ns.get(key)
        if at_ns is not None and (said_ns is None or at_ns - said_ns >= CHATTER_AGAIN_NS):
            self._said_ns[key] = at_ns
            what, cure = (
                f"button {key}: its contact comes to no rest",
                "look at its wire and plug, and use keyboard or page",
            )
            self._order.add(Fault(max(at_ns, self._order.promised_ns + 1), self._name, what, cure))

    def gone(self, error: OSError) -> Iterator[Key | Quiet | Fault]:
        """The last words."""
        now_ns = max(self._clock(), self._order.promised_ns + 1)
        for record in self._order.up_to(now_ns - 1):
            if isinstance(record, Key | Quiet | Fault):
                yield record
        what = f"the buttons cannot be read any more ({error.strerror or error})"
        yield Fault(now_ns, self._name, what, _PULLED_OUT, since_ns=self._whole_ns, lasting=True)

    def show(self, shown: Shown) -> None:
        with self._lock:
            self._shown, self._since_ns = shown, self._clock()
        with suppress(OSError):  # whoever listens to the records is told that the controller has gone
            self._beat(self._since_ns)

    def _beat(self, now_ns: int) -> None:
        with self._lock:
            beat = max(0, now_ns - self._since_ns) // BEAT_NS
            lamp, buzzer = LAMP[self._shown], BUZZER[self._shown]
            if self._lamp is not None:
                self._lamp.value = int(lamp[beat % len(lamp)])
            if self._buzzer is not None:
                self._buzzer.value = int(buzzer[beat : beat + 1] or "0")

    def findings(self) -> list[Finding]:
        findings = []
        for key, button in self._buttons.items():
            part, now_ns, chattered_ns = f"button {key}", self._clock(), self._contacts[key].chattered_ns
            if chattered_ns is not None and now_ns - chattered_ns < CHATTER_AGAIN_NS:
                findings.append(Finding(part, "doubtful", "its contact comes to no rest", "look at its wire and plug"))
            elif button.value:
                cure = 'let go of it; if nobody holds it, look at its wire, or turn "button_pull" round'
                findings.append(Finding(part, "doubtful", "it is held down", cure))
            else:
                findings.append(Finding(part, "well", "not pressed"))
        return findings

    def close(self) -> None:
        """Dark and silent, then everything let go; also where the controller has gone."""
        with ExitStack() as stack:
            stack.callback(self._factory.close)
            for device in (self._lamp, self._buzzer, *self._buttons.values()):
                if device is not None:
                    stack.callback(device.close)
            for device in (self._lamp, self._buzzer):
                if device is not None:
                    with suppress(OSError):
                        device.off()
