"""What is kept in hardware/ is what the code makes."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
import pytest

for _library in ("schemdraw", "manifold3d"):
    pytest.importorskip(_library, reason=f"{_library} is not installed: pip install '.[hardware]'")

from hardware.draw.files import HARDWARE, models, mount_picture, shows, stale, texts, write, write_picture
from hardware.draw.mounts import MOUNTS
from hardware.draw.scenes import SCENES


def test_every_drawing_and_table_is_as_the_code_makes_it() -> None:
    assert [str(path) for path in stale(texts())] == [], "make them anew: python -m hardware.draw"


@pytest.mark.parametrize("name", ["straw_holder", "head_receiver"])
def test_a_picture_is_as_the_code_makes_it(name: str) -> None:
    """Two of them; `python -m hardware.draw --check` looks at all. Sizes and masses of all stand in mechanics.md."""
    assert shows(HARDWARE / "pictures" / f"{name}.png", mount_picture(name)), "make it anew: python -m hardware.draw"


def test_there_is_a_picture_of_everything_and_of_nothing_else() -> None:
    assert {path.stem for path in (HARDWARE / "pictures").iterdir()} == set(MOUNTS) | set(SCENES)


def test_a_changed_picture_is_seen(tmp_path: Path) -> None:
    image = np.full((30, 40, 3), 255, np.uint8)
    assert not shows(tmp_path / "a.png", image)
    write_picture(tmp_path / "a.png", image)
    assert shows(tmp_path / "a.png", image)
    cv2.rectangle(image, (10, 10), (20, 20), (0, 0, 0), -1)
    assert not shows(tmp_path / "a.png", image)
    assert not shows(tmp_path / "a.png", image[:20])


def test_stale_and_missing_files_are_found_and_mended(tmp_path: Path) -> None:
    files = {tmp_path / "a" / "x.svg": b"new", tmp_path / "y.md": b"same"}
    (tmp_path / "y.md").write_bytes(b"same")
    assert stale(files) == [tmp_path / "a" / "x.svg"]
    write(files)
    assert stale(files) == []
    (tmp_path / "y.md").write_bytes(b"other")
    assert stale(files) == [tmp_path / "y.md"]


def test_models_of_all_mounts_are_written(tmp_path: Path) -> None:
    assert {path.name for path in models(tmp_path)} == {f"{name}.{kind}" for name in MOUNTS for kind in ("stl", "3mf")}


@pytest.mark.parametrize("page", sorted(HARDWARE.glob("*.md")), ids=lambda p: p.name)
def test_every_link_and_picture_of_a_page_is_there(page: Path) -> None:
    linked = re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", page.read_text(encoding="utf-8"))
    assert [name for name in linked if not (page.parent / name).exists()] == []
