from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.lesson.desk import Desk
from logger.lesson.proceedings import Proceedings
from logger.recording.mask_mark import is_masked
from logger.simulator.live import SimulatedTank
from logger.web.lessons import Lessons
from tests.logger.lesson.lessons import Hands, plan
from tests.logger.lesson.practice import TANK

NOW = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


class Wall:
    now = NOW

    def __call__(self) -> datetime:
        return self.now


def lessons(folder: Path, wall: Wall | None = None) -> Lessons:
    clock = wall or Wall()
    desk = Desk(Proceedings(now=lambda: clock().isoformat(timespec="seconds"), clock_ns=lambda: 1))
    return Lessons(folder / "lessons", desk, crew=Hands, now=clock)


def filmed(made: Lessons) -> Path:
    """A film in the lesson that is led."""
    assert made.desk.folder is not None
    run = made.desk.folder.path / "recordings" / "r1"
    run.mkdir(parents=True)
    (run / "video.avi").write_bytes(b"x" * 10)
    return run / "video.avi"


def test_one_is_led_and_the_one_before_is_left(tmp_path: Path) -> None:
    made = lessons(tmp_path)
    made.begin(plan(title="Monday"))
    made.begin(plan(title="Tuesday"))
    assert {one.title for one in made.every()} == {"Monday", "Tuesday"}
    assert made.desk.standing.plan.title == "Tuesday"  # type: ignore[union-attr]
    name = next(one.path.name for one in made.every() if one.title == "Monday")
    made.open(name)
    made.open(name)
    assert made.desk.standing.plan.title == "Monday"  # type: ignore[union-attr]
    made.leave()
    assert made.desk.standing is None
    made.leave()


def test_what_is_led_is_not_forgotten_and_nothing_outside_is(tmp_path: Path) -> None:
    made = lessons(tmp_path)
    made.begin(plan())
    assert made.desk.folder is not None
    path = made.desk.folder.path
    with pytest.raises(InputError, match="is open"):
        made.forget(path.name)
    made.leave()
    for name in ("", "..", "../lessons", "Ä", "none"):
        with pytest.raises(InputError, match="no lesson"):
            made.forget(name)
    made.forget(path.name)
    assert not path.exists()


@pytest.mark.parametrize(("days", "later", "is_there"), [(0, 0, False), (3, 0, True), (3, 2, True), (3, 3, False)])
def test_films_are_erased_when_their_time_has_come(tmp_path: Path, days: int, later: int, is_there: bool) -> None:
    wall = Wall()
    made = lessons(tmp_path, wall)
    made.begin(plan(keep_pictures_days=days))
    film = filmed(made)
    made.desk.end()
    made.leave()
    wall.now = NOW + timedelta(days=later)
    made.sweep()
    assert film.exists() is is_there


def test_films_that_are_kept_show_the_water_only_once_the_lesson_is_over(tmp_path: Path) -> None:
    made = lessons(tmp_path)
    made.begin(plan(keep_pictures_days=7))
    assert made.desk.folder is not None
    run = made.desk.folder.path / "recordings" / "r1"
    SimulatedTank(kind="straight", seed=3, rig_errors=False, **TANK).write(run)
    name = made.desk.folder.name
    made.leave()
    made.shut()
    assert not is_masked(run), "it may be taken up again"
    made = lessons(tmp_path)
    made.open(name)
    made.desk.end()
    made.mask()
    assert not is_masked(run), "it is open still"
    made.leave()
    made.masked()
    assert is_masked(run)
    assert len(made.films(name)) == 1


def test_films_of_a_lesson_that_goes_on_stay(tmp_path: Path) -> None:
    made = lessons(tmp_path)
    made.begin(plan())
    film = filmed(made)
    made.leave()
    assert film.exists()
    assert [one.size_bytes for one in made.films(film.parents[2].name)] == [10]


@pytest.mark.parametrize(
    ("hours", "is_over", "is_led"), [(0, False, True), (11, False, True), (13, False, False), (0, True, False)]
)
def test_a_lesson_that_was_cut_off_is_taken_up_by_itself(
    tmp_path: Path, hours: int, is_over: bool, is_led: bool
) -> None:
    wall = Wall()
    before = lessons(tmp_path, wall)
    before.begin(plan())
    if is_over:
        before.desk.end()
    before.shut()
    wall.now = NOW + timedelta(hours=hours)
    made = lessons(tmp_path, wall)
    made.take_up()
    assert (made.desk.standing is not None) is is_led
    made.shut()
