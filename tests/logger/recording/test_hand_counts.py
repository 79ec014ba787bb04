from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from logger.errors import ConfigError
from logger.recording.folder import load
from logger.recording.hand_counts import FILE, as_events, read_counts, write_counts
from logger.results.measure import measure
from tests.logger.lesson.lessons import plan
from tests.logger.lesson.practice import Practice, rig_file


def test_counts_are_written_whole_and_read_again(tmp_path: Path) -> None:
    assert read_counts(tmp_path) == {}
    assert not write_counts(tmp_path, {}), "nothing was counted, nothing is there"
    assert write_counts(tmp_path, {"cargo": 7, "rings": 0, "fish": 3})
    assert read_counts(tmp_path) == {"cargo": 7, "rings": 0}, "fish are nothing that a recording knows"
    assert not write_counts(tmp_path, {"rings": 0, "cargo": 7}), "nothing new"
    assert write_counts(tmp_path, {})
    assert read_counts(tmp_path) == {}


@pytest.mark.parametrize(
    "line", ["cargo = -1", "cargo = 10001", 'cargo = "7"', "cargo = true", "cargo = 1.0", "fish = 1"]
)
def test_what_is_no_count_is_refused_with_its_place(tmp_path: Path, line: str) -> None:
    (tmp_path / FILE).write_text(f'format = "boatrun-counts/1"\n{line}\n', encoding="utf-8")
    with pytest.raises(ConfigError, match="wanted how many were counted"):
        read_counts(tmp_path)


def test_another_format_is_refused(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("cargo = 1\n", encoding="utf-8")
    with pytest.raises(ConfigError, match="format"):
        read_counts(tmp_path)


def test_they_are_the_last_words_of_a_recording_and_make_it_no_longer(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path), plan(1, repeats=1)) as lesson:
        lesson.until(lambda board: set(board.beams.values()) == {"clear"})
        lesson.desk.arm()
        lesson.until(lambda board: board.last and board.last.is_final)
        made = lesson.folder.recording("r1")
    plain = load(made)
    copy = shutil.copytree(made, tmp_path / "copy")
    write_counts(copy, {"rings": 3, "touches": 1})
    counted = load(copy)
    assert counted.events[:-2] == plain.events
    assert counted.events[-2:] == as_events({"rings": 3, "touches": 1}, at_ns=counted.events[-1].t_ns)
    assert max(e.t_ns for e in counted.events) == max(e.t_ns for e in (*plain.events, *plain.edges))
    before, after = measure(plain).trial, measure(counted).trial
    assert after.results["rings_count"].quantity.value == 3
    assert after.results["time_s"] == before.results["time_s"]
    assert after.end_reason == before.end_reason
