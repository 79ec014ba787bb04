"""The table of published values, and how a call into our code is held against it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True, slots=True)
class Published:
    """One value as its source prints it."""

    id: str
    digits: str
    """The value as printed."""
    unit: str
    tolerance: float
    source: str
    standing: str
    check: str = ""
    """Test file that calls our code with it."""
    unused: str = ""
    """Why none does."""

    @property
    def value(self) -> float:
        return float(self.digits)


def read_table(path: Path) -> dict[str, Published]:
    rows = tomllib.loads(path.read_text(encoding="utf-8"))["value"]
    table = {row["id"]: Published(**row) for row in rows}
    assert len(table) == len(rows), "an id is given twice"
    return table


@pytest.fixture(scope="session")
def published() -> dict[str, Published]:
    return read_table(Path(__file__).with_name("published.toml"))


@pytest.fixture(scope="session")
def agrees(published: dict[str, Published]) -> Callable[[str, float], None]:
    """Holds our result against the published value of that id."""

    def hold(name: str, ours: float) -> None:
        row = published[name]
        published_as = f"{row.value!r} ± {row.tolerance} {row.unit} ({row.source}, {row.standing})"
        assert abs(ours - row.value) <= row.tolerance, f"{name}: ours {ours!r}, published {published_as}"

    return hold
