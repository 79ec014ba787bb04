from __future__ import annotations

from pathlib import Path

import pytest

from logger.errors import InputError, StoreError
from logger.lesson import entries as log
from logger.lesson.folder import LessonFolder, lessons
from tests.logger.lesson.lessons import AT, opened, plan


def test_a_lesson_has_a_folder_of_its_own_named_by_day_and_title(tmp_path: Path) -> None:
    for name in ("2026-05-04-foil-boats", "2026-05-04-foil-boats-2"):
        made = LessonFolder.create(tmp_path, plan(), at=AT)
        assert made.name == name
        assert sorted(path.name for path in made.path.iterdir()) == ["lesson.jsonl", "recordings"]
        made.close()
    odd = LessonFolder.create(tmp_path, plan(title="¿…?"), at=AT)
    assert odd.name == "2026-05-04-lesson"
    odd.close()


def test_what_was_said_is_there_again(tmp_path: Path) -> None:
    made = LessonFolder.create(tmp_path, plan(), at=AT)
    made.say(log.Paused("bell"), at=AT)
    made.close()
    again = LessonFolder(made.path)
    assert again.standing().is_paused
    assert [entry.number for entry in again.entries] == [1, 2]
    again.close()


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path) -> None:
    made = LessonFolder.create(tmp_path, plan(), at=AT)
    with pytest.raises(InputError, match="nickname"):
        made.say(log.Renamed(1, "=cmd()"), at=AT)
    assert len(made.entries) == 1
    assert (made.path / "lesson.jsonl").read_text(encoding="utf-8").count("\n") == 1
    made.close()


def test_the_list_tells_of_damaged_ones_and_hides_none(tmp_path: Path) -> None:
    LessonFolder.create(tmp_path, plan(title="Good"), at=AT).close()
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "lesson.jsonl").write_text("not a table\n", encoding="utf-8")
    found = {one.path.name: one for one in lessons(tmp_path)}
    assert found["2026-05-04-good"].title == "Good"
    assert "line 1 cannot be read" in found["bad"].trouble
    assert lessons(tmp_path / "nowhere") == []


def test_a_folder_that_is_none_and_one_that_cannot_be_made_say_so(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"there is no lesson\.jsonl"):
        LessonFolder(tmp_path)
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StoreError, match="cannot be made"):
        LessonFolder.create(tmp_path / "file", plan(), at=AT)


def test_the_store_is_told_once_what_the_log_says(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    desk.arm()
    hands.finishes()
    desk.decide("freed")
    for _ in range(2):
        folder.mirror(at=AT)
    changes = [correction.change for correction in folder.stored()[0].corrections]
    assert changes == ["freed"]
