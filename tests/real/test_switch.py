"""The bounce of a real switch through the passage code.

Data: github.com/adamfk/bouncy-button-data (CC0-1.0), 22 logged transitions within 0.52 ms of one actuation. The logger
counted rising edges between its log entries.
"""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

from logger.records import Edge
from logger.results.passages import passages


@pytest.fixture
def rows(real_data: Path) -> list[dict[str, str]]:
    text = (real_data / "switch_bounce" / "events_004_025.csv").read_text(encoding="ascii")
    return list(csv.DictReader(text.splitlines()))


def edges(rows: list[dict[str, str]]) -> list[Edge]:
    return [Edge(int(row["t_ns"]), "button", row["pin"] == "0", "switch") for row in rows]


def test_all_the_bouncing_is_one_passage(rows: list[dict[str, str]]) -> None:
    assert len(rows) == 22
    (one,) = passages(edges(rows))
    assert one.edges_count == 22
    assert one.t_ns == int(rows[0]["t_ns"])
    assert one.cleared_ns == int(rows[-1]["t_ns"])
    assert 0 < one.dark_s < one.blocked_s == pytest.approx(524.188e-6)


def test_edges_that_the_logger_lost_are_noticed(rows: list[dict[str, str]]) -> None:
    """Twice the log has the pin low in two entries running and a rising edge between them, which it did not log."""
    repeated = [after for before, after in pairwise(rows) if before["pin"] == after["pin"]]
    assert [(row["pin"], row["rising_edges_since_last"]) for row in repeated] == [("0", "1"), ("0", "1")]
    (one,) = passages(edges(rows))
    assert one.doubts == ("edges_lost",)


def test_without_the_loss_half_a_millisecond_is_too_short_for_a_boat(rows: list[dict[str, str]]) -> None:
    complete = rows[:1] + [after for before, after in pairwise(rows) if before["pin"] != after["pin"]]
    (one,) = passages(edges(complete))
    assert one.edges_count == 20
    assert one.doubts == ("short",)
