"""Commands as they are printed in the pages for people, and on the cards."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from logger.study.cards import CARDS

PROJECT = Path(__file__).resolve().parents[2]
PAGES = [PROJECT / "README.md", PROJECT / "DEVELOPERS.md", *sorted((PROJECT / "hardware").rglob("*.md"))]
_FENCE = re.compile(r"^ *```sh\n(.*?)^ *```", re.DOTALL | re.MULTILINE)
_INLINE = re.compile(r"`((?:\.venv/bin/)?boatrun [^`\n]+)`")


@dataclass(frozen=True)
class Printed:
    """One command."""

    line: str
    """Without its comment."""
    page: str

    @property
    def words(self) -> list[str]:
        return shlex.split(self.line.replace(".venv/bin/", ""))

    @property
    def is_ours(self) -> bool:
        return self.words[0] == "boatrun"


def commands() -> list[Printed]:
    """Every line of every block of shell commands, every whole one in a sentence, and those of the cards; each once."""
    found: dict[str, Printed] = {}
    for page in PAGES:
        for block in _FENCE.findall(page.read_text(encoding="utf-8")):
            for line in block.replace("\\\n", " ").splitlines():
                bare = " ".join(re.sub(r"\s# .*$", "", line).split())
                if bare:
                    found.setdefault(bare.replace(".venv/bin/boatrun", "boatrun"), Printed(bare, page.name))
        for line in _INLINE.findall(page.read_text(encoding="utf-8")):
            if " rig.toml" in line:  # else it is a part of a command, to be filled in
                found.setdefault(line, Printed(line, page.name))
    for name, card in CARDS.items():
        for step in card.steps:
            if step.command:
                found.setdefault(step.command, Printed(step.command, f"{name} card"))
    return list(found.values())


def mentioned() -> Iterator[Printed]:
    """Every command of ours that stands in a sentence; … and capitals stand for what people fill in."""
    for page in PAGES:
        for line in _INLINE.findall(page.read_text(encoding="utf-8")):
            yield Printed(line.replace("…", "").strip(), page.name)
