from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from logger.errors import InputError
from logger.recording.stills import Still
from logger.web.drafts import Drafts
from logger.web.forms import Sent
from logger.web.pictures import keep_sent, keep_still, shown_picture


def sent(name: str = "a.png", size: tuple[int, int] = (320, 200)) -> Sent:
    data = io.BytesIO()
    Image.new("L", size, 90).save(data, "PNG")
    return Sent("dry", name, data.getvalue(), "photo")


def test_a_photograph_is_kept_under_its_slot_and_shown_with_its_size(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    keep_sent(drafts, "pictures", "dry", [sent()], several=False)
    keep_sent(drafts, "pictures", "dry", [sent(size=(640, 360))], several=False)
    (file,) = drafts.files("pictures")
    shown = shown_picture(file)
    assert shown is not None
    assert (shown.width_px, shown.height_px) == (640, 360)
    assert shown.address.startswith("/draft/pictures/dry.png?")


def test_several_are_counted_and_bounded(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    keep_sent(drafts, "pictures", "board", [sent(), sent()], several=True)
    keep_still(drafts, "pictures", "board", Still("live", np.zeros((80, 90), np.uint8)), several=True)
    assert [file.name for file in drafts.files("pictures")] == ["board-1.png", "board-2.png", "board-3.png"]
    with pytest.raises(InputError, match="found 30 pictures; forget some of them first"):
        keep_sent(drafts, "pictures", "board", [sent()] * 28, several=True)


def test_none_and_too_many_are_refused(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    with pytest.raises(InputError, match="no file was chosen"):
        keep_sent(drafts, "pictures", "dry", [], several=False)
    with pytest.raises(InputError, match="found 2 files; wanted one picture here"):
        keep_sent(drafts, "pictures", "dry", [sent(), sent()], several=False)


def test_a_film_that_cannot_be_read_leaves_nothing_behind(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    with pytest.raises(InputError, match=r"dry\.avi"):
        keep_sent(drafts, "pictures", "dry", [Sent("dry", "a.avi", b"RIFF\0\0\0\0AVI nothing", "film")], several=False)
    assert drafts.files("pictures") == []


def test_what_is_no_picture_any_more_is_not_shown(tmp_path: Path) -> None:
    (tmp_path / "x.png").write_bytes(b"torn")
    assert shown_picture(tmp_path / "x.png") is None
    assert shown_picture(tmp_path / "x.avi") is None
