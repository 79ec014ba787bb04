"""A port on a pseudo-terminal: opening, lines, being alone, being gone."""

from __future__ import annotations

import os
import pty
import tty
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from serial.tools import list_ports

from logger.drivers.serial_line import MOST_LINE_BYTES, LineGoneError, SerialLine, find
from logger.errors import DriverError


class Ends:
    """Both ends of a pseudo-terminal; the near one is what a driver opens."""

    def __init__(self) -> None:
        self.far, self._near = pty.openpty()
        tty.setraw(self._near)
        self.path = os.ttyname(self._near)

    def close(self) -> None:
        os.close(self.far)
        os.close(self._near)


@pytest.fixture
def ends() -> Iterator[Ends]:
    ends = Ends()
    yield ends
    if ends.far >= 0:
        ends.close()


@pytest.fixture
def line(ends: Ends) -> Iterator[SerialLine]:
    line = SerialLine(ends.path, baud_hz=115_200, name="gates")
    line.open()
    yield line
    line.close()


def lines(line: SerialLine, count: int) -> list[bytes]:
    got: list[bytes] = []
    while len(got) < count:
        got += line.read().lines
    return got


def test_lines_come_whole_however_they_were_cut(ends: Ends, line: SerialLine) -> None:
    os.write(ends.far, b"one\r\ntw")
    assert lines(line, 1) == [b"one\r"]
    assert line.read().lines == ()
    os.write(ends.far, b"o\nthree\n")
    assert lines(line, 2) == [b"two", b"three"]


def test_a_line_without_end_neither_grows_nor_hides_what_follows(ends: Ends, line: SerialLine) -> None:
    for _ in range(40):
        os.write(ends.far, b"x" * 1000)
        line.read()
        assert len(line._rest) <= MOST_LINE_BYTES
    os.write(ends.far, b"x\nnext\n")
    assert lines(line, 1) == [b"next"]


def test_what_was_too_long_is_shown_once_so_that_it_counts(ends: Ends, line: SerialLine) -> None:
    os.write(ends.far, b"x" * 600)
    got = lines(line, 1)
    assert [len(one) for one in got] == [MOST_LINE_BYTES + 1]


def test_what_came_before_and_the_line_that_is_just_coming_can_be_forgotten(ends: Ends, line: SerialLine) -> None:
    os.write(ends.far, b"old\n10")
    line.forget()
    os.write(ends.far, b"5.0 g\nnext\n")
    assert lines(line, 1) == [b"next"]


def test_a_return_can_end_a_line_too(ends: Ends) -> None:
    line = SerialLine(ends.path, baud_hz=9600, name="scale", returns_end_lines=True)
    line.open()
    os.write(ends.far, b"one\rtwo\r\n")
    assert lines(line, 3) == [b"one", b"two", b""]
    line.close()


def test_what_is_written_arrives(ends: Ends, line: SerialLine) -> None:
    line.write(b"h 1\n")
    assert os.read(ends.far, 100) == b"h 1\n"


def test_a_port_belongs_to_one_user(ends: Ends, line: SerialLine) -> None:
    second = SerialLine(ends.path, baud_hz=115_200, name="more gates")
    with pytest.raises(DriverError, match=r"more gates: /dev/.*has it open; one user is wanted; close the other"):
        second.open()
    line.close()
    second.open()
    second.close()


def test_a_port_that_goes_is_told_by_reading_and_by_writing(ends: Ends, line: SerialLine) -> None:
    ends.close()
    ends.far = -1
    with pytest.raises(LineGoneError, match="reading failed"):
        line.read()
    with pytest.raises(LineGoneError, match="writing failed"):
        line.write(b"x")
    line.close()
    with pytest.raises(LineGoneError, match="it is not open"):
        line.read()


def test_a_device_that_takes_nothing_is_gone(line: SerialLine) -> None:
    with pytest.raises(LineGoneError, match="writing failed"):
        line.write(b"x" * 1_000_000)


def test_a_port_that_is_not_there_is_named_with_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(
        DriverError, match=r"nowhere: there is no such port; plug the device in or name its port; here:"
    ):
        SerialLine(str(tmp_path / "nowhere"), baud_hz=9600, name="gates").open()


def test_what_is_no_serial_port_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(DriverError, match="cannot be opened as a serial port"):
        SerialLine(str(tmp_path / "file"), baud_hz=9600, name="gates").open()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open everything")
def test_a_port_that_we_may_not_open_is_told_with_its_cure(ends: Ends) -> None:
    os.chmod(ends.path, 0)
    with pytest.raises(DriverError, match=r"no permission to open it.*usermod -aG dialout"):
        SerialLine(ends.path, baud_hz=9600, name="gates").open()


def plugged(monkeypatch: pytest.MonkeyPatch, *ports: tuple[str, int, int, str | None]) -> None:
    """What the system says is plugged in."""
    there = [SimpleNamespace(device=d, vid=v, pid=p, serial_number=n) for d, v, p, n in ports]
    monkeypatch.setattr(list_ports, "comports", lambda: there)


def test_a_device_is_found_by_its_identity(monkeypatch: pytest.MonkeyPatch) -> None:
    plugged(
        monkeypatch,
        ("/dev/ttyACM0", 0x2E8A, 5, "E66"),
        ("/dev/ttyACM1", 0x2E8A, 5, "F77"),
        ("/dev/ttyUSB0", 1, 2, None),
    )
    assert find("usb:2E8A:0005:F77", name="gates") == "/dev/ttyACM1"
    assert find("usb:0001:0002", name="gates") == "/dev/ttyUSB0"
    assert find("/dev/ttyS0", name="gates") == "/dev/ttyS0"
    with pytest.raises(DriverError, match=r"found 2 of this identity \(/dev/ttyACM0, /dev/ttyACM1\); one is wanted"):
        find("usb:2e8a:0005", name="gates")
    with pytest.raises(DriverError, match=r"nothing of this identity is plugged in.*ttyACM0 \(usb:2e8a:0005:E66\)"):
        find("usb:2e8a:0006", name="gates")
    with pytest.raises(DriverError, match='wanted a path or "usb:vendor:product"'):
        find("usb:pico", name="gates")


def test_what_is_plugged_in_elsewhere_is_found_again(monkeypatch: pytest.MonkeyPatch, ends: Ends) -> None:
    elsewhere = Ends()
    plugged(monkeypatch, (ends.path, 0x2E8A, 5, "E66"))
    line = SerialLine(ends.path, baud_hz=9600, name="gates")
    line.open()
    line.close()
    plugged(monkeypatch, (ends.path, 1, 1, "other"), (elsewhere.path, 0x2E8A, 5, "E66"))
    line.open()
    assert line.path == elsewhere.path
    line.close()
    elsewhere.close()
