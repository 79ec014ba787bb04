"""Serial lines of the machine: two ports joined by a cable, and a USB adapter that can be pulled out."""

from __future__ import annotations

import select
from pathlib import Path

PAIR = ("/dev/ttyS1", "/dev/ttyS2")
"""What is written to one arrives at the other."""
BEHIND_USB = "/dev/ttyS3"
"""The far end of the USB adapter."""


class Adapter:
    """The USB serial adapter."""

    def __init__(self) -> None:
        devices = Path("/sys/bus/usb/devices")
        self._device = next(d for d in devices.iterdir() if (d / "product").exists() and "SERIAL" in _product(d))

    @property
    def path(self) -> str:
        """Where its port is now: the kernel gives another number while somebody still holds the old one."""
        return f"/dev/{next(self._device.glob('*/ttyUSB*')).name}"

    def unplug(self) -> None:
        """As pulling it out: the kernel hangs up the port and takes it away."""
        (self._device / "authorized").write_text("0")

    def plug_in(self) -> None:
        """Put it back; returns when the port is there."""
        (self._device / "authorized").write_text("1")
        waited = select.poll()
        for _ in range(500):
            if any(Path("/dev", port.name).exists() for port in self._device.glob("*/ttyUSB*")):
                return
            waited.poll(10)
        raise AssertionError("the adapter did not come back within 5 s")


def _product(device: Path) -> str:
    return (device / "product").read_text(errors="replace").upper()
