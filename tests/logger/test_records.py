"""What flows: when a row of a picture was taken, and records that cannot be changed on the way."""

from __future__ import annotations

import dataclasses
from typing import get_args

import numpy as np
import pytest

from logger.records import Edge, Fault, Fix, Frame, Key, Quiet, Record

PICTURE = np.zeros((4, 6, 3), np.uint8)


@pytest.mark.parametrize(
    ("row_px", "exposure_ns", "line_ns", "later_ns"),
    [
        (0, 0, 0, 0),  # all that is known is the stamp
        (0, 10_000_000, 0, 5_000_000),  # the middle of the exposure, not its beginning
        (100, 0, 18_904, 1_890_400),  # 100 rows later, 18.9 µs each
        (100, 10_000_000, 18_904, 6_890_400),
        (99.5, 8_000_000, 20_000, 5_990_000),  # a boat's middle lies between two rows
    ],
)
def test_a_row_has_its_own_time(row_px: float, exposure_ns: int, line_ns: int, later_ns: int) -> None:
    stamp_ns = 3_000_000_000_000_000_001  # 95 years of uptime: a float would lose the last digits
    frame = Frame(stamp_ns, PICTURE, 0, "camera", exposure_ns=exposure_ns, line_ns=line_ns)
    assert frame.row_time_ns(row_px) == stamp_ns + later_ns
    assert isinstance(frame.row_time_ns(row_px), int)


def test_a_picture_may_be_decoded_when_somebody_looks_and_then_once() -> None:
    looks: list[int] = []

    def decode() -> np.ndarray:
        looks.append(1)
        return PICTURE

    frame = Frame(5, decode, 0, "camera", jpeg=b"as it came")  # type: ignore[arg-type]
    assert (frame.row_time_ns(0), frame.jpeg, looks) == (5, b"as it came", [])
    assert frame.image is PICTURE
    assert frame.image is PICTURE
    assert looks == [1]
    with pytest.raises(dataclasses.FrozenInstanceError, match="image"):
        frame.image = PICTURE  # type: ignore[misc]
    assert dataclasses.replace(frame, t_ns=6).image is PICTURE


@pytest.mark.parametrize(
    "record",
    [
        Edge(5, "A", True, "gates"),
        Frame(5, PICTURE, 0, "camera"),
        Fix(5, 1.0, 2.0, 0.0, (0.1, 0.0, 0.1), "measured", "camera"),
        Key(5, "go", "panel"),
        Quiet(5, "gates"),
        Fault(5, "gates", "unplugged", "plug it in"),
    ],
    ids=lambda record: type(record).__name__,
)
def test_a_record_has_a_time_and_a_source_and_never_changes(record: Record) -> None:
    assert record.t_ns == 5
    assert record.source
    assert isinstance(record, get_args(Record))
    with pytest.raises(dataclasses.FrozenInstanceError, match="t_ns"):
        record.t_ns = 6  # type: ignore[misc]


def test_equal_edges_are_one_edge() -> None:
    """A reader of doubled lines counts on it."""
    assert len({Edge(5, "A", True, "gates"), Edge(5, "A", True, "gates"), Edge(5, "A", False, "gates")}) == 2
