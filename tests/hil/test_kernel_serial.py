"""What the kernel and pyserial do with serial lines, before any code of ours."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import serial

from tests.hil.lines import BEHIND_USB, PAIR, Adapter

pytestmark = pytest.mark.hil

LINES = [f"E {n} {1_000_000 + 37 * n} A {n % 2}\n".encode() for n in range(100)]


@pytest.fixture(params=["joined ports", "usb adapter"])
def ends(request: pytest.FixtureRequest, adapter: Adapter) -> Iterator[tuple[serial.Serial, serial.Serial]]:
    near, far = PAIR if request.param == "joined ports" else (adapter.path, BEHIND_USB)
    with serial.Serial(near, 115200, timeout=5) as here, serial.Serial(far, 115200, timeout=5) as there:
        yield here, there


def test_what_is_written_arrives_at_the_other_end_and_comes_back(ends: tuple[serial.Serial, serial.Serial]) -> None:
    here, there = ends
    for line in LINES:
        there.write(line)
        assert here.readline() == line
        here.write(line)
        assert there.readline() == line


def test_a_pulled_adapter_ends_reading_and_is_there_again_when_put_back(adapter: Adapter) -> None:
    with serial.Serial(adapter.path, 115200, timeout=5) as here:
        adapter.unplug()
        with pytest.raises(serial.SerialException, match=r"."):
            here.read(1)
    adapter.plug_in()
    with serial.Serial(adapter.path, 115200, timeout=5) as here, serial.Serial(BEHIND_USB, 115200) as there:
        there.write(b"again\n")
        assert here.readline() == b"again\n"
