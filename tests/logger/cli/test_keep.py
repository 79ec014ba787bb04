from __future__ import annotations

from pathlib import Path

import pytest

from logger.cli.keep import new_folder
from logger.errors import InputError


def test_a_new_folder_is_made_with_all_above_it(tmp_path: Path) -> None:
    assert new_folder(tmp_path / "a" / "b").is_dir()
    assert new_folder(tmp_path / "a" / "b") == tmp_path / "a" / "b", "an empty one will do"


def test_a_used_folder_and_an_impossible_one_are_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="found files in it; wanted a new or empty folder"):
        new_folder(tmp_path)
    with pytest.raises(InputError, match=r"cannot be made \(.*\); choose another name"):
        new_folder(tmp_path / "mine.txt" / "below")
