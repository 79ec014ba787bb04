"""A serial port: how it is found and opened, its lines, and what it looks like when it is gone.

Shared by the drivers of devices on a serial port. The port is named by a path, or by the USB identity of what is
plugged in, as in "usb:2e8a:0005" or, with its serial number, "usb:2e8a:0005:E6614C311B". The identity finds the device
wherever it is plugged in, and again after it was unplugged.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import re
import termios
import time
from dataclasses import dataclass
from typing import Literal, TypeAlias

import serial
from serial.tools import list_ports

from logger.errors import DriverError

MOST_LINE_BYTES = 256
"""What has no end after so many bytes is no line."""
WAIT_S = 0.02
"""So long a read waits for the first byte."""
WRITE_S = 1.0
"""A device that takes nothing for so long is gone."""
Bits: TypeAlias = Literal["8N1", "7E1", "7O1"]
"""Data bits, parity (none, even, odd) and stop bits of each letter on the wire."""
_USB = re.compile(r"usb:([0-9a-fA-F]{4}):([0-9a-fA-F]{4})(?::(.+))?")


class LineGoneError(Exception):
    """The port has gone: unplugged, or its driver has given up. Says what was seen."""


@dataclass(frozen=True, slots=True)
class Heard:
    """Lines that came with one read, each without its end."""

    lines: tuple[bytes, ...]
    t_ns: int
    """A moment after their last byte was there."""


def ports_there() -> str:
    """The ports that this computer has, in words."""
    found = [f"{port.device} ({_identity(port)})" for port in list_ports.comports() if port.vid is not None]
    return ", ".join(sorted(found)) or "none with anything on USB"


def _identity(port: object) -> str:
    vid, pid, number = (getattr(port, name, None) for name in ("vid", "pid", "serial_number"))
    if vid is None or pid is None:
        return ""
    return f"usb:{vid:04x}:{pid:04x}" + (f":{number}" if number else "")


def find(port: str, *, name: str) -> str:
    """The path of the port.

    Raises:
        DriverError: there is none of that identity, or there are two.
    """
    if not port.startswith("usb:"):
        return port
    asked = _USB.fullmatch(port)
    if asked is None:
        raise DriverError(
            f'{name}: port: found "{port}", wanted a path or "usb:vendor:product" or "usb:vendor:product:number" '
            f"with four hexadecimal digits each; ports here: {ports_there()}"
        )
    vid, pid, number = int(asked[1], 16), int(asked[2], 16), asked[3]
    found = sorted(
        p.device
        for p in list_ports.comports()
        if (p.vid, p.pid) == (vid, pid) and (number is None or p.serial_number == number)
    )
    if len(found) == 1:
        return str(found[0])
    if not found:
        raise DriverError(f"{name}: {port}: nothing of this identity is plugged in; plug it in; here: {ports_there()}")
    raise DriverError(
        f"{name}: {port}: found {len(found)} of this identity ({', '.join(found)}); one is wanted; "
        f"add its serial number, or name the path; here: {ports_there()}"
    )


class SerialLine:
    """One port that speaks in lines. Opened and closed by its driver, in the driver's own thread."""

    def __init__(
        self, port: str, *, baud_hz: int, name: str, bits: Bits = "8N1", returns_end_lines: bool = False
    ) -> None:
        """`returns_end_lines`: a carriage return ends a line too, for devices that send nothing else."""
        self._port, self._baud_hz, self._name = port, baud_hz, name
        self._bits, self._returns_end_lines = bits, returns_end_lines
        self._serial: serial.Serial | None = None
        self._rest = b""
        self._is_skipping = False
        self.has_low_latency = False
        self.path = ""

    def open(self) -> None:
        """Find the port and take it for us alone.

        Raises:
            DriverError: it is not there, not ours to open, or in use.
        """
        self.close()
        self.path = find(self._port, name=self._name)
        try:
            opened = serial.Serial(
                self.path,
                self._baud_hz,
                bytesize=int(self._bits[0]),
                parity=self._bits[1],
                timeout=WAIT_S,
                write_timeout=WRITE_S,
                exclusive=True,
            )
        except (serial.SerialException, ValueError, OSError, termios.error) as error:
            raise DriverError(self._why_not(error)) from error
        self._serial = opened
        self._remember_identity()
        try:
            fcntl.ioctl(opened.fileno(), termios.TIOCEXCL)  # who does not ask for a lock is kept out by this one
            opened.reset_input_buffer()
        except (OSError, termios.error) as error:
            self.close()
            raise DriverError(f"{self._name}: {self.path}: went away while it was opened; plug it in") from error
        self.has_low_latency = self._lower_latency(opened)

    def _remember_identity(self) -> None:
        """What is plugged in may come back under another path: from now on it is known by what it is."""
        if self._port.startswith("usb:"):
            return
        real = os.path.realpath(self.path)
        for port in list_ports.comports():
            if os.path.realpath(port.device) == real and port.serial_number and (identity := _identity(port)):
                self._port = identity

    @staticmethod
    def _lower_latency(opened: serial.Serial) -> bool:
        try:
            opened.set_low_latency_mode(True)
        except (ValueError, NotImplementedError, OSError, AttributeError):
            return False  # USB by itself has no such timer, nor has a port without an interrupt of its own
        return True

    def _why_not(self, error: Exception) -> str:
        code = getattr(error, "errno", None)
        where = f"{self._name}: {self.path}: "
        if code in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
            return f"{where}there is no such port; plug the device in or name its port; here: {ports_there()}"
        if code in (errno.EACCES, errno.EPERM):
            return (
                f"{where}no permission to open it; a member of the group that owns it is wanted; "
                "sudo usermod -aG dialout $USER, then log in anew"
            )
        if code in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "lock" in str(error):
            return (
                f"{where}another program, or another driver of this rig, has it open; one user is wanted; "
                f"close the other (fuser {self.path} names it) or give each driver a port of its own"
            )
        return f"{where}cannot be opened as a serial port ({error}); name another port; here: {ports_there()}"

    def close(self) -> None:
        """Give the port back; harmless if it is not open."""
        opened, self._serial, self._rest, self._is_skipping = self._serial, None, b"", False
        if opened is not None:
            with contextlib.suppress(OSError, termios.error, serial.SerialException):
                fcntl.ioctl(opened.fileno(), termios.TIOCNXCL)
            with contextlib.suppress(OSError, termios.error, serial.SerialException):
                opened.close()

    @property
    def is_open(self) -> bool:
        """True between `open` and `close`."""
        return self._serial is not None

    def forget(self) -> None:
        """What has come so far is of no interest, nor is the line that is just coming.

        Raises:
            LineGoneError: the port has gone.
        """
        try:
            self._opened().reset_input_buffer()
        except (OSError, termios.error) as error:
            raise LineGoneError(f"reading failed ({error})") from error
        self._rest, self._is_skipping = b"", True

    def read(self) -> Heard:
        """The lines that have come, none if none came within WAIT_S.

        What is too long for a line comes as one piece of its beginning, so that it can be counted.

        Raises:
            LineGoneError: the port has gone.
        """
        opened = self._opened()
        try:
            data = opened.read(1)
            if data:
                data += opened.read(opened.in_waiting)
        except (OSError, termios.error, TypeError) as error:  # TypeError: pyserial, of a port that was closed under it
            raise LineGoneError(f"reading failed ({error})") from error
        t_ns = time.monotonic_ns()
        return Heard(tuple(self._split(data)), t_ns)

    def write(self, data: bytes) -> None:
        """Send this.

        Raises:
            LineGoneError: the port has gone, or takes nothing.
        """
        opened = self._opened()
        try:
            opened.write(data)
        except (OSError, termios.error) as error:
            raise LineGoneError(f"writing failed ({error})") from error

    def _opened(self) -> serial.Serial:
        if self._serial is None:
            raise LineGoneError("it is not open")
        return self._serial

    def _split(self, data: bytes) -> list[bytes]:
        if self._returns_end_lines:
            data = data.replace(b"\r", b"\n")
        *lines, rest = (self._rest + data).split(b"\n")
        if self._is_skipping and lines:
            lines, self._is_skipping = lines[1:], False
        if len(rest) > MOST_LINE_BYTES:
            if not self._is_skipping:
                lines.append(rest[: MOST_LINE_BYTES + 1])
            rest, self._is_skipping = b"", True
        self._rest = rest
        return lines
