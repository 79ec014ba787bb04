"""Many things a few at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

T = TypeVar("T")


def batched(items: Iterable[T], count: int) -> Iterator[list[T]]:
    """The items in lists of `count`, the last perhaps shorter."""
    rest = iter(items)
    while batch := list(islice(rest, count)):
        yield batch
