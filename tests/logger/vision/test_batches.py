from __future__ import annotations

from itertools import count, islice

from logger.vision.batches import batched


def test_nothing_is_lost_and_the_last_may_be_shorter() -> None:
    assert list(batched(range(7), 3)) == [[0, 1, 2], [3, 4, 5], [6]]
    assert list(batched([], 3)) == []


def test_no_more_is_taken_than_is_asked_for() -> None:
    assert list(islice(batched(count(), 2), 2)) == [[0, 1], [2, 3]]
