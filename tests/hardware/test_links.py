"""Every link and picture of the pages leads somewhere, headings included; every picture is shown somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]
PAGES = [
    *sorted(PROJECT.glob("*.md")),
    *(
        page
        for folder in ("hardware", "logger", "calibration", "tests")
        for page in sorted((PROJECT / folder).rglob("*.md"))
    ),
]
_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_CODE = re.compile(r"^ *```.*?^ *```", re.DOTALL | re.MULTILINE)


def text(page: Path) -> str:
    return _CODE.sub("", page.read_text(encoding="utf-8"))


def anchors(page: Path) -> set[str]:
    """What a heading can be reached by: lower case, spaces as hyphens, no other signs (as pages are usually shown)."""
    heads = re.findall(r"^#+ (.+)$", text(page), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


LINKS = [(page, target) for page in PAGES for target in _LINK.findall(text(page))]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(PROJECT)))
def test_every_link_leads_somewhere(page: Path) -> None:
    dead = []
    for target in (target for of, target in LINKS if of == page):
        if target.startswith(("https://", "http://")):
            continue
        path, _, anchor = target.partition("#")
        there = (page.parent / path).resolve() if path else page
        if not there.exists() or (anchor and there.suffix == ".md" and anchor not in anchors(there)):
            dead.append(target)
    assert dead == []


def test_every_picture_and_drawing_of_the_hardware_is_shown_somewhere() -> None:
    shown = {(page.parent / target).resolve() for page, target in LINKS}
    kept = {path for name in ("pictures", "drawings") for path in (PROJECT / "hardware" / name).iterdir()}
    assert sorted(path.name for path in kept - shown) == []


def test_every_page_of_the_hardware_can_be_reached_from_its_first_one() -> None:
    first = PROJECT / "hardware" / "README.md"
    reached, waiting = {first}, [first]
    while waiting:
        page = waiting.pop()
        for target in (target for of, target in LINKS if of == page and ".md" in target):
            there = (page.parent / target.partition("#")[0]).resolve()
            if there not in reached and there.exists():
                reached.add(there)
                waiting.append(there)
    pages = {page for page in PAGES if page.is_relative_to(first.parent)}
    assert sorted(page.name for page in pages - reached) == []


def test_links_are_looked_for_where_there_are_many() -> None:
    assert len(LINKS) > 60
    assert "1-where-it-all-goes" in anchors(PROJECT / "hardware" / "build_evening.md")
