"""How a driver is put to the test: what surrounds it, and what it must do there.

A driver of hardware gets a fake of the hardware, at the border only and with a little physics; a driver that replays
gets a recording. Either way the suite (test_contract.py) gets options with which the driver can be opened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeAlias

import pytest

Options: TypeAlias = dict[str, Any]
Surroundings: TypeAlias = Callable[[Path, pytest.MonkeyPatch], AbstractContextManager[Options]]
"""Called with a small recording (conftest.py) and a monkeypatch: sets everything up, gives the driver's options, and
clears away. What it sets up can be opened over and over; each opening begins its story anew."""


@dataclass(frozen=True)
class Case:
    """One kind of driver, and three worlds for it."""

    story: Surroundings
    """Things happen for a second or so, and then the source ends, see `ends`."""
    waiting: Surroundings
    """Nothing happens, for ever: only `stop` can end it."""
    broken: Surroundings
    """The driver cannot be opened here ..."""
    complaint: str
    """... and this is in what it says then (a regular expression)."""
    ends: Literal["by_itself", "unplugged", "waits"] = "by_itself"
    """How the story ends: it is over · the device is pulled out, which must give a lasting Fault · the device is pulled
    out and put back, over and over: a Fault that does not last, and then the records go on until `stop`."""
    speaks: bool = True
    """False: a device without records, such as a light or a scale; it must only open, close and complain."""

    @property
    def is_live(self) -> bool:
        """True if its stamps are of the one clock, now."""
        return self.ends != "by_itself"


def given(options: Callable[[Path], Options]) -> Surroundings:
    """Surroundings for a driver that needs nothing but its options."""

    @contextmanager
    def around(recording: Path, _: pytest.MonkeyPatch) -> Iterator[Options]:
        yield options(recording)

    return around
