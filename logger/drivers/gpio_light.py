"""A light on a GPIO pin that the camera sees: it is switched at known moments, and the pictures show when they saw it.

An LED with its resistor follows the pin within a microsecond; so the moment is known as well as the two clock readings
around the switching lie close. Infrared LEDs: as bright as needed and no brighter, and not to be looked into from near
(IEC 62471 is the standard on that).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, Self

from gpiozero import LED

from logger.drivers.gpio_chips import check_pins, find_chip
from logger.drivers.gpio_pins import ChipFactory
from logger.errors import DriverError
from logger.settings import Range, Text

CONSUMER = "boatrun light"


@dataclass(frozen=True, slots=True)
class GpioLightOptions:
    """What rig.toml says of a light on a pin."""

    pin: Annotated[int, Range(least=0)]
    """Numbered as GPIO17 is 17."""
    lit_is: Literal["high", "low"] = "high"
    """Level of the pin while it is lit."""
    chip: Annotated[str, Text(most=200)] = ""
    """Label or name of the controller; empty: the one of a Raspberry Pi's header."""


class GpioLight:
    """One light; dark when it is opened and when it is closed."""

    Options: ClassVar[type] = GpioLightOptions

    def __init__(self, options: GpioLightOptions, *, name: str, clock: Callable[[], int] = time.monotonic_ns) -> None:
        self.name = name
        self._options, self._clock = options, clock
        self._factory: ChipFactory | None = None
        self._lamp: Any = None

    def __enter__(self) -> Self:
        it = self._options
        chip = find_chip(it.chip, where=self.name)
        check_pins({"the light": it.pin}, chip, where=self.name)
        self._factory = ChipFactory(chip, where=self.name, consumer=CONSUMER)
        try:
            self._lamp = LED(it.pin, active_high=it.lit_is == "high", pin_factory=self._factory)
        except BaseException:
            self._factory.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self._factory is not None:
            with suppress(OSError):
                self._lamp.off()
            self._lamp.close()
            self._factory.close()
            self._factory = self._lamp = None

    def switch(self, on: bool) -> tuple[int, int]:
        """Switch it; it happened between the two times.

        Raises:
            DriverError: the light is not open, or its controller has gone.
        """
        if self._lamp is None:
            raise DriverError(f"{self.name}: the light is not open; use it inside `with`")
        before_ns = self._clock()
        try:
            self._lamp.value = int(on)
        except OSError as error:
            raise DriverError(
                f"{self.name}: the light cannot be switched ({error.strerror or error}); its controller is wanted; "
                "plug it in again, or start the board anew"
            ) from error
        return before_ns, self._clock()
