"""Which GPIO controller is the one with the pins, and what to say when its lines cannot be had.

A controller is found by its label, never by its number: the header of one board is gpiochip0, of another gpiochip4, and
of a third it changed with a newer kernel. The pins of the header are numbered as on its pin maps (GPIO17 is 17), which
is the number of the line in its controller.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeAlias

import gpiod
from gpiod.line import Bias

from logger.errors import DriverError

HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")
"""Labels of the controllers that a Raspberry Pi's 40-pin header hangs on: up to the 3, the 4, the 5."""
DEVICES = Path("/dev")
"""Where the kernel shows its controllers, as gpiochip0 and so on."""

Pull: TypeAlias = Literal["up", "down", "none"]
"""The pin's own weak resistor: to 3.3 V · to ground · off."""
BIAS: Mapping[Pull, Bias] = {"up": Bias.PULL_UP, "down": Bias.PULL_DOWN, "none": Bias.DISABLED}


@dataclass(frozen=True, slots=True)
class Chip:
    """A controller that is there."""

    path: str
    label: str
    lines_count: int

    @property
    def number(self) -> int:
        """Its number in the kernel's own names, 4 for /dev/gpiochip4. It may change from one start to the next."""
        return int("".join(letter for letter in Path(self.path).name if letter.isdigit()))

    def __str__(self) -> str:
        return f"{Path(self.path).name} ({self.label}, {self.lines_count} lines)"


def find_chip(wanted: str, *, where: str) -> Chip:
    """The controller that `wanted` names by its label or name; with "", the one of a Raspberry Pi's header.

    Args:
        wanted: Such as "pinctrl-rp1", "gpiochip0" or "/dev/gpiochip0".
        where: Name of the driver, for messages.

    Raises:
        DriverError: none fits, several fit, or those that there are may not be opened; with a list of those seen.
    """
    seen, closed = _chips()
    fitting = [chip for chip in seen if _fits(chip, wanted)]
    if len(fitting) == 1:
        return fitting[0]
    listed = ", ".join(str(chip) for chip in seen) or "none"
    asked = f'"{wanted}"' if wanted else f"a Raspberry Pi's header ({', '.join(HEADER_LABELS)})"
    if not fitting and closed:
        raise DriverError(f"{where}: may not open {', '.join(closed)}; {_PERMISSION}")
    if not seen:
        raise DriverError(f"{where}: no GPIO controller in {DEVICES}; {asked} is wanted; run on the board that has it")
    found = "several" if fitting else "no"
    raise DriverError(f'{where}: {found} GPIO controller is {asked}; seen were {listed}; name one of them as "chip"')


_PERMISSION = (
    "the right to use the pins is wanted; add this user to the group gpio (sudo usermod -aG gpio $USER), log in anew"
)


def _fits(chip: Chip, wanted: str) -> bool:
    if not wanted:
        return chip.label in HEADER_LABELS
    return wanted in (chip.label, chip.path, Path(chip.path).name)


def _chips() -> tuple[list[Chip], list[str]]:
    """Controllers that can be opened, and the paths of those that may not be; a second name of one does not count."""
    seen: list[Chip] = []
    closed: list[str] = []
    for path in sorted(DEVICES.glob("gpiochip*")):
        if path.is_symlink():
            continue
        try:
            with gpiod.Chip(str(path)) as chip:
                info = chip.get_info()
                seen.append(Chip(str(path), info.label, info.num_lines))
        except PermissionError:
            closed.append(str(path))
        except OSError:  # no controller in spite of its name, or gone again
            continue
    return seen, closed


def check_pins(pins: Mapping[str, int], chip: Chip, *, where: str) -> None:
    """Refuse two uses of one pin and pins that the controller does not have.

    Raises:
        DriverError: naming the pins.
    """
    names: dict[int, str] = {}
    for name, pin in pins.items():
        if type(pin) is not int:
            raise DriverError(f"{where}: {name} is on pin {pin!r}; a whole number is wanted; write it without quotes")
        if not 0 <= pin < chip.lines_count:
            raise DriverError(
                f"{where}: {name} is on pin {pin}; {chip} has pins 0 to {chip.lines_count - 1}; correct the pin number"
            )
        if pin in names:
            raise DriverError(
                f"{where}: {names[pin]} and {name} are both on pin {pin}; a pin each is wanted; correct the numbers"
            )
        names[pin] = name


def refusal(error: Exception, chip: Chip, pins: Collection[int], *, where: str) -> DriverError:
    """What to say when these pins of that controller could not be had because of `error`."""
    number = error.errno if isinstance(error, OSError) else None
    if number == errno.EBUSY or "busy" in str(error).lower():
        users = ", ".join(_users(chip, pins)) or "somebody"
        return DriverError(
            f"{where}: in use already: {users}; the pin for itself is wanted; end that program, or take another pin"
        )
    if number in (errno.EACCES, errno.EPERM):
        return DriverError(f"{where}: may not use {chip}; {_PERMISSION}")
    if number in (errno.ENODEV, errno.ENOENT):
        return DriverError(f"{where}: {chip} has gone; it is wanted; plug it in, or start the board anew")
    listed = ", ".join(str(pin) for pin in sorted(pins))
    words = os.strerror(number) if number else str(error)
    return DriverError(
        f"{where}: pin {listed} of {chip} cannot be had ({words}); choose another pin or pull, or start the board anew"
    )


def _users(chip: Chip, pins: Collection[int]) -> list[str]:
    """Who has which of these pins, as far as the kernel says."""
    users = []
    try:
        with gpiod.Chip(chip.path) as opened:
            for pin in sorted(pins):
                info = opened.get_line_info(pin)
                if info.used:
                    users.append(f'pin {pin} by "{info.consumer or "the kernel"}"')
    except OSError:
        return users
    return users
