"""The only code that touches hardware. A driver is chosen by its kind in rig.toml and loaded when named.

`DRIVERS` is the whole list of our own. A package of somebody else's adds its kinds through the entry-point group
`boatrun.drivers`, written in the same form, "module:Class". There is no default and no falling back: for an instrument,
that is how a coarser or a simulated clock slips into real data.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from logger import settings
from logger.config import CAMERA_SOURCE, GATES_SOURCE, Rig
from logger.errors import DriverError, InputError

ENTRY_POINTS = "boatrun.drivers"
"""Entry-point group in which an installed package names its own drivers."""

DRIVERS: Mapping[str, str] = {
    "keyboard": "logger.drivers.keyboard_panel:KeyboardPanel",
    "recorded_gates": "logger.drivers.recorded:RecordedGates",
    "recorded_camera": "logger.drivers.recorded:RecordedCamera",
    "recorded_panel": "logger.drivers.recorded:RecordedPanel",
    "serial_gates": "logger.drivers.serial_gates:SerialGates",
    "serial_scale": "logger.drivers.serial_scale:SerialScale",
    "simulated_gates": "logger.drivers.simulated:SimulatedGates",
    "simulated_camera": "logger.drivers.simulated:SimulatedCamera",
    "simulated_panel": "logger.drivers.simulated:SimulatedPanel",
    "simulated_attended_gates": "logger.drivers.simulated_attendant:SimulatedAttendedGates",
    "simulated_live_gates": "logger.drivers.simulated_live:SimulatedLiveGates",
    "simulated_live_camera": "logger.drivers.simulated_live:SimulatedLiveCamera",
    "simulated_blinking_camera": "logger.drivers.simulated_light:SimulatedBlinkingCamera",
    "simulated_light": "logger.drivers.simulated_light:SimulatedLight",
    "v4l2_camera": "logger.drivers.v4l2_camera:V4l2Camera",
    "pi_camera": "logger.drivers.pi_camera:PiCamera",
    "gpio_gates": "logger.drivers.gpio_gates:GpioGates",
    "gpio_panel": "logger.drivers.gpio_panel:GpioPanel",
    "gpio_light": "logger.drivers.gpio_light:GpioLight",
}
"""Kind -> "module:Class"."""


def known_drivers() -> dict[str, str]:
    """Every kind that can be named in a rig file -> "module:Class", ours first, then those of installed packages.

    Raises:
        DriverError: a package claims a kind that is already taken.
    """
    known = dict(DRIVERS)
    for point in entry_points(group=ENTRY_POINTS):
        if known.setdefault(point.name, point.value) != point.value:
            raise DriverError(
                f"driver {point.name!r}: found {known[point.name]} and {point.value} under this name; "
                f"one is wanted; remove the package that brought the second ({_package(point)})"
            )
    return known


def _package(point: EntryPoint) -> str:
    return point.dist.name if point.dist else "unknown"


def open_driver(kind: str, options: Mapping[str, object], *, name: str = "", place: str = "rig.toml") -> Any:
    """The driver of that kind, ready to be entered with `with`.

    Args:
        kind: A kind of `known_drivers`.
        options: What the rig file says beside `kind`; checked strictly against the driver's own `Options`.
        name: Source name that its records will carry; the kind if empty.
        place: Where the choice was written, for messages.

    Raises:
        InputError: no such kind.
        ConfigError: an option is wrong; all mistakes at once.
        DriverError: the driver's own module or library cannot be loaded.
    """
    known = known_drivers()
    if kind not in known:
        listed = ", ".join(f'"{k}"' for k in sorted(known))
        raise InputError(f'{place}: kind: found "{kind}", wanted one of {listed}{settings.near(kind, known)}')
    driver = _load(kind, known[kind])
    return driver(settings.read(driver.Options, options, file=f'{place} (driver "{kind}")'), name=name or kind)


def drivers_of(rig: Rig, *, place: str = "rig.toml") -> list[Any]:
    """The drivers of gates, camera and panel that a rig names, under the names that its recordings know them by.

    Args:
        rig: The rig.
        place: The rig's file, for messages.

    Raises:
        InputError: it names neither gates nor a camera that could be opened, or as `open_driver`.
    """
    if not rig.witnesses.keys() & {GATES_SOURCE, CAMERA_SOURCE}:
        raise InputError(
            f"{place}: found neither a [gates_driver] nor a [camera.driver], so nothing can be heard or seen; "
            "name at least one of them"
        )
    return [open_driver(choice.kind, choice.options, name=name, place=place) for name, choice in rig.witnesses.items()]


def _load(kind: str, target: str) -> Any:
    module, _, class_name = target.partition(":")
    try:
        return getattr(import_module(module), class_name)
    except (ImportError, AttributeError) as error:
        missing = (isinstance(error, ImportError) and error.name) or module
        raise DriverError(
            f'driver "{kind}": {target} cannot be loaded ({error}); '
            f"install what it needs (pip install {missing}) or choose another driver"
        ) from error
