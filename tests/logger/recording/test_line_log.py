from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import InputError, StoreError
from logger.recording.line_log import LineLog, read_lines


def test_lines_come_back_in_order_and_go_on(tmp_path: Path) -> None:
    path = tmp_path / "log"
    with LineLog(path) as log:
        log.append({"a": 1, "word": "Öl\nfaß"})
        assert read_lines(path) == [{"a": 1, "word": "Öl\nfaß"}], "also while it is written"
    with LineLog(path) as log:
        assert log.tables == [{"a": 1, "word": "Öl\nfaß"}]
        log.append({"a": 2})
    assert [table["a"] for table in read_lines(path)] == [1, 2]


@given(st.integers(0, 60))
def test_a_log_cut_anywhere_keeps_its_whole_lines_and_can_go_on(cut_bytes: int) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        with LineLog(path) as log:
            for number in range(5):
                log.append({"number": number})
        data = path.read_bytes()[:cut_bytes]
        path.write_bytes(data)
        whole = data.count(b"\n")
        assert [table["number"] for table in read_lines(path)] == list(range(whole))
        with LineLog(path) as log:
            log.append({"number": 99})
        assert [table["number"] for table in read_lines(path)] == [*range(whole), 99]


def test_a_line_in_the_middle_that_cannot_be_read_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "log"
    for bad in (b'{"a":1}\nnonsense\n{"a":2}\n', b"[1]\n", b"\n"):
        path.write_bytes(bad)
        with pytest.raises(InputError, match=r"line [12]"):
            read_lines(path)
        with pytest.raises(InputError, match=r"line [12]"):
            LineLog(path)


def test_only_one_program_writes(tmp_path: Path) -> None:
    with LineLog(tmp_path / "log"), pytest.raises(StoreError, match="another program writes it"):
        LineLog(tmp_path / "log")
    LineLog(tmp_path / "log").close()
    with pytest.raises(StoreError, match="cannot be opened"):
        LineLog(tmp_path / "nowhere" / "log")
    with pytest.raises(InputError, match="cannot be read"):
        read_lines(tmp_path / "nothing")


def test_a_line_that_could_not_be_synced_is_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "log"
    with LineLog(path) as log:
        log.append({"a": 1})

        def full(_: int) -> None:
            raise OSError(28, "No space left on device")

        with monkeypatch.context() as patched:
            patched.setattr(os, "fsync", full)
            with pytest.raises(StoreError, match="free some space"):
                log.append({"a": 2})
        log.append({"a": 3})
    assert [table["a"] for table in read_lines(path)] == [1, 3]
