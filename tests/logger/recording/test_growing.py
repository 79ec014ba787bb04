"""Files that grow by whole pieces."""

from __future__ import annotations

import csv
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.recording.growing import Growing, line, plain, sort_lines


def test_a_file_grows_and_is_never_one_that_was_there_before(tmp_path: Path) -> None:
    file = Growing(tmp_path / "a.csv")
    file.append(b"one\n")
    file.append(b"two\n")
    file.close()
    assert (tmp_path / "a.csv").read_bytes() == b"one\ntwo\n"
    with pytest.raises(FileExistsError, match=r"a\.csv"):
        Growing(tmp_path / "a.csv")


def test_a_piece_that_does_not_fit_leaves_nothing_of_itself(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from logger.recording.growing import Growing\n"
        "file = Growing(Path(sys.argv[1]))\n"
        "file.append(b'a' * 3000)\n"
        "try: file.append(b'b' * 3000)\n"
        "except OSError as error: print(error.strerror)\n"
        "file.append(b'c' * 900)\n"
    )

    def small_files_only() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    path = tmp_path / "a.csv"
    done = subprocess.run(
        [sys.executable, "-B", "-c", script, str(path)],
        preexec_fn=small_files_only, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout == os.strerror(27) + "\n"  # EFBIG
    assert path.read_bytes() == b"a" * 3000 + b"c" * 900


@given(st.lists(st.none() | st.integers() | st.text(st.characters(exclude_categories=("C", "Z")))))
def test_a_line_is_read_back_by_any_reader_of_tables(cells: list[object]) -> None:
    (back,) = csv.reader([line(cells).decode()]) if cells else ([],)
    assert back == ["" if cell is None else str(cell) for cell in cells]


@given(st.text(max_size=60))
def test_plain_text_stands_on_one_line(text: str) -> None:
    found = plain(text, most=20)
    assert len(found) <= 20
    assert found.isprintable()
    assert found == found.strip()
    found.encode()


def test_lines_are_sorted_by_time_and_each_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "edges.csv"
    path.write_text("t_ns,gate\n30,a\n4,b\n30,a\n30,b\n")
    sort_lines(path, os.fdatasync)
    assert path.read_text() == "t_ns,gate\n4,b\n30,a\n30,b\n"
    assert os.listdir(tmp_path) == ["edges.csv"]
