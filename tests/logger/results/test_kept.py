from __future__ import annotations

import os
from pathlib import Path

import pytest

from logger.results.kept import keep_beside


def test_older_and_different_results_are_kept_and_numbered(tmp_path: Path) -> None:
    path = tmp_path / "trial.json"
    assert keep_beside(path, "one") is None
    assert keep_beside(path, "two") == tmp_path / "trial-1.json"
    assert keep_beside(path, "three") == tmp_path / "trial-2.json"
    texts = {p.name: p.read_text(encoding="utf-8") for p in tmp_path.iterdir()}
    assert texts == {"trial.json": "three", "trial-1.json": "one", "trial-2.json": "two"}


def test_the_same_result_is_left_untouched(tmp_path: Path) -> None:
    path = tmp_path / "trial.json"
    keep_beside(path, "one")
    os.utime(path, ns=(1, 1))
    assert keep_beside(path, "one") is None
    assert path.stat().st_mtime_ns == 1
    assert len(list(tmp_path.iterdir())) == 1


def test_where_hard_links_are_unknown_the_older_text_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # what a FAT memory stick answers
    def refuse(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", refuse)
    path = tmp_path / "trial.json"
    keep_beside(path, "one")
    keep_beside(path, "two")
    assert keep_beside(path, "three") == tmp_path / "trial-2.json"
    assert (tmp_path / "trial-1.json").read_text(encoding="utf-8") == "one"
