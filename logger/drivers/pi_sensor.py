"""How long a row of a Pi's camera takes, from the sensor's own settings.

A row takes (width of the sensor's mode + horizontal blanking) / pixel rate: the kernel's documentation of camera
sensors ("Writing camera sensor drivers", Raw camera sensors) gives the frame interval as
(width + hblank) · (height + vblank) / pixel rate, which is that for one row, times the rows.
"""

from __future__ import annotations

import ctypes
import os
import struct
from collections.abc import Callable
from pathlib import Path

from logger.drivers import v4l2_ioctl

HBLANK, PIXEL_RATE = 0x009E0902, 0x009F0902
G_EXT_CTRLS, EXT_CONTROLS_BYTES, EXT_CONTROL_BYTES = 0xC0205647, 32, 20
SUBDEVICES = Path("/sys/class/video4linux")

Ask = Callable[[str, int], int | None]
"""(device node, control) -> its value, None if there is none."""


def ask(node: str, number: int) -> int | None:
    """The value of a control of the device at `node`, also one of 64 bits; None if it cannot be had."""
    try:
        handle = os.open(node, os.O_RDWR)
    except OSError:
        return None
    try:
        return _value(handle, number)
    finally:
        os.close(handle)


def _value(handle: int, number: int) -> int | None:
    one = ctypes.create_string_buffer(struct.pack("=IIIq", number, 0, 0, 0), EXT_CONTROL_BYTES)
    request = bytearray(EXT_CONTROLS_BYTES)
    struct.pack_into("@IIIiIQ", request, 0, 0, 1, 0, 0, 0, ctypes.addressof(one))
    if v4l2_ioctl.asked(handle, G_EXT_CTRLS, request) is None:
        return None
    wide = int(struct.unpack_from("=q", one.raw, 12)[0])
    # a control of 32 bits fills only half of the field
    return wide if number == PIXEL_RATE else int(struct.unpack_from("=i", one.raw, 12)[0])


def line_ns(model: str, mode_width_px: int, *, subdevices: Path = SUBDEVICES, ask: Ask = ask) -> int | None:
    """The time of one row of the sensor `model` in a mode so wide; None if no such sensor tells.

    Args:
        model: as libcamera names the sensor, such as imx219.
        mode_width_px: of the sensor's mode, not of the picture made from it.
        subdevices: where the kernel lists them.
        ask: asks one for a control.
    """
    for entry in sorted(subdevices.glob("v4l-subdev*")):
        try:
            words = (entry / "name").read_text(encoding="utf-8").split()
        except OSError:
            continue
        if not words or words[0] != model:
            continue
        blank, rate_hz = ask(f"/dev/{entry.name}", HBLANK), ask(f"/dev/{entry.name}", PIXEL_RATE)
        if blank is not None and rate_hz:
            return round((mode_width_px + blank) * 1_000_000_000 / rate_hz)
    return None
