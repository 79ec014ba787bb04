"""The list of parts: read from parts.toml, summed up for each kind of rig."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.placing import Camera, Site, height_mm, mm_per_px
from hardware.draw.markdown import table

FILE = Path(__file__).resolve().parents[1] / "parts.toml"
PRICES = {"A": (1, 5), "B": (5, 15), "C": (15, 40), "D": (40, 100)}
"""Class -> from, to; of one piece."""
NEEDS = {
    "always": "always",
    "gates": "any gates",
    "gpio": "gates at the Pi",
    "serial": "gates at a board",
    "infrared": "infrared beams",
    "laser": "laser beams",
    "camera": "camera",
    "printed": "printed mounts",
}
"""What a part may be needed for -> in words."""
KINDS: Mapping[str, frozenset[str]] = {
    "camera alone": frozenset({"always", "camera", "printed"}),
    "gates at the Pi": frozenset({"always", "gates", "gpio", "infrared", "printed"}),
    "gates at a board": frozenset({"always", "gates", "serial", "infrared", "printed"}),
    "gates at the Pi, camera": frozenset({"always", "gates", "gpio", "infrared", "printed", "camera"}),
    "gates at a board, camera": frozenset({"always", "gates", "serial", "infrared", "printed", "camera"}),
    "laser gates at the Pi, camera": frozenset({"always", "gates", "gpio", "laser", "printed", "camera"}),
}
"""Kind of rig -> what it needs."""
LENSES = {"66° × 41°, usual": Camera(66, 41), "102° × 67°, wide": Camera(102, 67)}


@dataclass(frozen=True, slots=True)
class Bought:
    """One line of the list."""

    name: str
    spec: str
    need: str
    price: str
    counts: tuple[int, ...]
    """For each size, in the file's order; metres where the name says so."""
    per_count: int = 1
    """The price is that of so many."""


@dataclass(frozen=True, slots=True)
class Size:
    """One size of rig."""

    words: str
    length_mm: float
    width_mm: float


def read(path: Path = FILE) -> tuple[tuple[Size, ...], tuple[Bought, ...]]:
    """Sizes and parts. ValueError with all mistakes of the file."""
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    sizes = tuple(Size(**size) for size in told["sizes"].values())
    parts = tuple(
        Bought(p["name"], p["spec"], p["for"], p["price"], tuple(p["count"]), p.get("per", 1)) for p in told["parts"]
    )
    if mistakes := list(_mistakes(parts, len(sizes))):
        raise ValueError(f"{path.name}: {'; '.join(mistakes)}")
    return sizes, parts


def _mistakes(parts: Sequence[Bought], sizes_count: int) -> Iterator[str]:
    names = [part.name for part in parts]
    for part in parts:
        if names.count(part.name) > 1:
            yield f"{part.name}: stands there twice"
        if part.need not in NEEDS:
            yield f"{part.name}: for is {part.need!r}; one of {', '.join(NEEDS)} is wanted"
        if part.price not in PRICES:
            yield f"{part.name}: price is {part.price!r}; one of {', '.join(PRICES)} is wanted"
        if len(part.counts) != sizes_count or min(part.counts, default=0) < 0:
            yield f"{part.name}: count is {list(part.counts)}; {sizes_count} numbers are wanted"


def sum_of(parts: Sequence[Bought], *, needs: frozenset[str], size_index: int) -> tuple[int, int]:
    """What a rig costs at least and at most; packs are bought whole."""
    low, high = 0, 0
    for part in parts:
        if part.need in needs:
            pieces = -(-part.counts[size_index] // part.per_count)
            low, high = low + pieces * PRICES[part.price][0], high + pieces * PRICES[part.price][1]
    return low, high


def parts_blocks() -> Mapping[str, str]:
    """The blocks of parts.md."""
    sizes, parts = read()
    head = ["part", "which", "price", "needed for", *(size.words for size in sizes)]
    rows = [[p.name, p.spec, p.price, NEEDS[p.need], *(str(n) for n in p.counts)] for p in parts]
    sums = []
    for kind, needs in KINDS.items():
        spans = (sum_of(parts, needs=needs, size_index=i) for i in range(len(sizes)))
        sums.append([kind, *(f"{round(low, -1)} to {round(high, -1)}" for low, high in spans)])
    return {
        "parts": table(head, rows),
        "sums": table(["rig", *(size.words for size in sizes)], sums),
        "lenses": table(["lens", *(size.words for size in sizes)], _lenses(sizes)),
    }


def _lenses(sizes: Sequence[Size]) -> Iterator[list[str]]:
    for name, camera in LENSES.items():
        row = [name]
        for size in sizes:
            above = height_mm(Site(size.length_mm, size.width_mm), camera)
            row.append(f"{above} up; {mm_per_px(camera, above.value):.1f} mm a pixel")
        yield row
