"""What the tests of the machine have at hand. Outside of it they are skipped."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

# As the camera driver has it: OpenCV asks only once in a process, when it would wait for the first time.
os.environ["OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT"] = "0"

import pytest

from tests.hil.chip import Chip
from tests.hil.lines import Adapter
from tests.hil.video import Loopback, Vivid


@pytest.fixture(autouse=True)
def inside() -> None:
    """Only where the kernel is ours to play with."""
    if "BOATRUN_HIL" not in os.environ:
        pytest.skip("needs the emulated machine: python -m tests.hil.machine")


@pytest.fixture
def films() -> Path:
    """What tests/hil/film.py painted on the host."""
    return Path(os.environ["BOATRUN_HIL"]) / "films"


@pytest.fixture
def chip() -> Iterator[Chip]:
    """A GPIO chip labelled "tank" with eight lines."""
    with Chip("tank", 8) as made:
        yield made


@pytest.fixture
def loopback() -> Iterator[Loopback]:
    """A camera whose pictures the test hands in."""
    with Loopback() as made:
        yield made


@pytest.fixture
def vivid() -> Iterator[Vivid]:
    """The kernel's own test camera."""
    with Vivid() as made:
        yield made


@pytest.fixture
def adapter() -> Iterator[Adapter]:
    """The USB serial adapter, plugged in again afterwards."""
    made = Adapter()
    yield made
    made.plug_in()
