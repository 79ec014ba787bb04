"""What is kept in hardware/ is what the code makes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from hardware.draw.files import HARDWARE, made, stale, write


def test_every_kept_file_is_as_the_code_makes_it() -> None:
    assert [str(path) for path in stale(made())] == [], "make them anew: python -m hardware.draw"


def test_stale_and_missing_files_are_found_and_mended(tmp_path: Path) -> None:
    files = {tmp_path / "a" / "x.svg": b"new", tmp_path / "y.md": b"same"}
    (tmp_path / "y.md").write_bytes(b"same")
    assert stale(files) == [tmp_path / "a" / "x.svg"]
    write(files)
    assert stale(files) == []
    (tmp_path / "y.md").write_bytes(b"other")
    assert stale(files) == [tmp_path / "y.md"]


@pytest.mark.parametrize("page", sorted(HARDWARE.glob("*.md")), ids=lambda p: p.name)
def test_every_link_and_picture_of_a_page_is_there(page: Path) -> None:
    linked = re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", page.read_text(encoding="utf-8"))
    assert [name for name in linked if not (page.parent / name).exists()] == []
