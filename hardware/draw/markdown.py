"""Tables in Markdown, and blocks that are made anew within a text that people write."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

_BLOCK = re.compile(r"(<!-- made: (?P<name>[a-z_ ]+) -->\n).*?(<!-- end -->)", re.DOTALL)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def filled(text: str, blocks: Mapping[str, str]) -> str:
    """The text with each block between its marks made anew. KeyError for a block that nothing makes."""
    return _BLOCK.sub(lambda found: f"{found[1]}{blocks[found['name']]}{found[3]}", text)
