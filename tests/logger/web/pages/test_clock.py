from __future__ import annotations

from datetime import UTC, datetime

import pytest

from logger.errors import InputError
from logger.web.pages.clock import ahead_s
from tests.logger.web.conftest import Desk

NOW = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("told", "ahead"),
    [
        ("2026-05-04T10:15:00Z", 0.0),
        ("2026-05-04T12:15:30.250+02:00", 30.25),
        ("2026-05-04T05:14:00-05:00", -60.0),
        ("2031-01-01T00:00:00+00:00", 147_102_300.0),
    ],
)
def test_the_difference_is_that_of_the_two_moments(told: str, ahead: float) -> None:
    """RFC 3339: local time with its offset from UTC."""
    assert ahead_s(told, NOW) == ahead


@pytest.mark.parametrize("told", ["", "now", "2026-05-04T10:15:00", "1970-01-01T00:00:00Z", "9" * 300])
def test_what_is_no_time_is_refused(told: str) -> None:
    with pytest.raises(InputError, match="found"):
        ahead_s(told, NOW)


def test_it_is_noted_in_the_lesson(desk: Desk) -> None:
    hands = desk.begin()
    desk.post("/clock", {"now": "2026-05-04T12:16:00+02:00"}, 204, drawn_at="/lesson")
    assert hands.desk.folder.entries[-1].said.ahead_s == 60.0  # type: ignore[union-attr]
    desk.post("/clock", {"now": "soon"}, 422, drawn_at="/lesson")
