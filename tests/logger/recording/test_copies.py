from __future__ import annotations

from pathlib import Path

from logger.recording.copies import FILE, Copy, copies, note_copy

ONE = Copy("2026-05-04T10:15:00+02:00", "2026-05-04-foil", "tables", "/media/pi/STICK")


def test_copies_are_noted_one_after_the_other_and_found_by_their_lesson(tmp_path: Path) -> None:
    assert copies(tmp_path) == []
    other = Copy("2026-05-05T09:00:00+02:00", "other", "study pack", "download")
    note_copy(tmp_path, ONE)
    note_copy(tmp_path, other)
    assert copies(tmp_path) == [ONE, other]
    assert copies(tmp_path, "other") == [other]


def test_a_line_that_was_torn_off_hides_no_other(tmp_path: Path) -> None:
    note_copy(tmp_path, ONE)
    with (tmp_path / FILE).open("a") as file:
        file.write('{"at": "2026')
    assert copies(tmp_path) == [ONE]
    note_copy(tmp_path, ONE)
    assert copies(tmp_path) == [ONE, ONE]
