from __future__ import annotations

from pathlib import Path

from logger.recording.mask_mark import MARK, is_masked


def test_the_mark_tells(tmp_path: Path) -> None:
    assert not is_masked(tmp_path)
    (tmp_path / MARK).write_text("", encoding="utf-8")
    assert is_masked(tmp_path)
