from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import StoreError
from logger.web.drafts import Drafts, plain_name


def test_what_was_typed_is_there_again_after_a_new_start(tmp_path: Path) -> None:
    Drafts(tmp_path / "rig.toml").keep("plane", {"depth": "98", "way": "floor"})
    drafts = Drafts(tmp_path / "rig.toml")
    assert drafts.keep("plane", {"depth": "99"}) == {"depth": "99", "way": "floor"}
    assert drafts.values("lines") == {}


def test_a_torn_draft_is_an_empty_one(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    drafts.keep("plane", {"depth": "98"})
    (drafts.folder / "plane" / "values.json").write_text('{"depth"')
    assert drafts.values("plane") == {}
    (drafts.folder / "plane" / "values.json").write_text("[1]")
    assert drafts.values("plane") == {}


def test_a_picture_takes_the_place_of_the_one_before_whatever_its_ending(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path / "rig.toml")
    drafts.put("pictures", "dry.jpg", b"1")
    drafts.put("pictures", "filled.png", b"2")
    drafts.put("pictures", "dry.png", b"3")
    assert [path.name for path in drafts.files("pictures")] == ["dry.png", "filled.png"]
    found = drafts.file("pictures", "dry")
    assert found is not None
    assert found.read_bytes() == b"3"
    drafts.clear("pictures")
    assert drafts.files("pictures") == []


def test_where_nothing_can_be_written_that_is_told(tmp_path: Path) -> None:
    (tmp_path / "drafts").write_text("a file")
    with pytest.raises(StoreError, match=r"cannot be kept .*free some space"):
        Drafts(tmp_path / "rig.toml").keep("plane", {"depth": "98"})


@given(st.text())
def test_a_name_from_a_browser_never_leads_anywhere_else(text: str) -> None:
    name = plain_name(text)
    assert 1 <= len(name) <= 60
    assert Path(name).name == name
    assert name not in {".", ".."}
    assert name.isascii()
    assert "/" not in name
