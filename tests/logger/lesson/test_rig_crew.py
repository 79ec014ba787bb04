from __future__ import annotations

from pathlib import Path

import pytest

from logger.config import KindOfRun
from logger.errors import InputError
from logger.lesson.plan import Agreed
from logger.recording.folder import load
from logger.results.trial import Trial
from tests.logger.lesson.lessons import plan
from tests.logger.lesson.practice import Practice, rig_file


def clear(board: object) -> bool:
    beams = board.beams  # type: ignore[attr-defined]
    return bool(beams) and set(beams.values()) == {"clear"}


def test_a_run_is_watched_recorded_told_and_measured(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path), plan(1, repeats=1)) as lesson:
        lesson.until(clear)
        lesson.desk.arm()
        board = lesson.until(lambda board: board.state == "deciding" and board.last and board.last.is_final)
        assert board.last is not None
        assert board.last.figures[0].name == "time_s"
        assert board.last.figures[0].witness == "gate"
        states = [one.state for one in lesson.seen]
        order = [states.index(state) for state in ("called", "ready", "armed", "running", "closing", "deciding")]
        assert order == sorted(order)
        lesson.desk.decide("valid")
        lesson.until(lambda board: board.state == "done")
        stored = lesson.folder.stored()
        assert [(one.status, one.trial.simulated) for one in stored] == [("valid", True)]
    recording = load(tmp_path / "lessons" / lesson.folder.name / "recordings" / "r1")
    assert recording.card.boat.team == "1 Kestrel"
    assert any(event.event == "arm" and event.source == "desk" for event in recording.events)


def test_something_in_the_beam_refuses_arming_until_it_is_gone(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path, hands_every_s=3.0), plan(1)) as lesson:
        lesson.until(lambda board: "blocked" in board.beams.values())
        with pytest.raises(InputError, match="is blocked"):
            lesson.desk.arm()
        lesson.until(clear)


def test_a_boat_that_waits_for_the_word_is_let_go_by_it(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path), plan(1, begin="on_go")) as lesson:
        lesson.until(clear)
        lesson.desk.arm()
        lesson.until(lambda board: board.state == "armed")
        lesson.desk.go()
        board = lesson.until(lambda board: board.state == "deciding" and board.last and board.last.figures)
        assert board.last is not None
        assert board.last.figures[0].name == "time_from_go_s"
        # the boat lies in the finish beam, and its recording waits for the beam; people do not
        first = next(board for board in lesson.seen if board.state == "closing" and board.last)
        assert first.last is not None
        assert [figure.name for figure in first.last.figures] == ["time_from_go_s", "time_s"]
        assert not first.last.is_final


def test_what_was_counted_by_hand_reaches_the_stored_trial(tmp_path: Path) -> None:
    made = plan(1, repeats=1, kind="cargo", begin="on_go", agreed=Agreed(count_within_s=2.0))
    with Practice(rig_file(tmp_path), made) as lesson:
        lesson.until(clear)
        lesson.desk.arm()
        lesson.until(lambda board: board.state == "armed")
        lesson.desk.go()
        lesson.until(lambda board: board.state == "deciding")
        lesson.desk.count("cargo", 7)
        lesson.desk.decide("valid")
        board = lesson.until(lambda board: board.last and board.last.is_final)
        assert board.last is not None
        assert [(one.name, one.value, one.witness) for one in board.last.figures] == [
            ("cargo_count", 7, "hand"),
            ("cargo_per_min", pytest.approx(7 / (2.0 / 60)), "hand"),
        ]
        (stored,) = lesson.folder.stored()
        assert stored.trial.results["cargo_count"].quantity.value == 7
        assert "cargo_count" not in stored.trial.not_measured
    assert load(lesson.folder.recording("r1")).events[-1].detail == "7"


def test_a_run_called_off_is_kept_and_leaves_the_boat_called(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path), plan(1, begin="on_go")) as lesson:
        lesson.until(clear)
        lesson.desk.arm()
        lesson.until(lambda board: board.state == "armed")
        lesson.desk.stop()
        lesson.until(lambda board: board.state == "called")
        assert (lesson.folder.path / "recordings" / "r1" / "edges.csv").exists()


def test_a_device_that_is_not_there_is_told_between_runs_and_when_armed(tmp_path: Path) -> None:
    file = rig_file(tmp_path)
    file.write_text(file.read_text(encoding="utf-8").replace("simulated_live_gates", "keyboard"), encoding="utf-8")
    with Practice(file, plan(1)) as lesson:
        board = lesson.until(lambda board: board.troubles)
        assert "keyboard" in board.troubles[0] or "unknown name" in board.troubles[0]
        lesson.desk.arm()
        board = lesson.until(lambda board: board.state == "called" and board.troubles)
        assert lesson.desk.standing is not None
        assert lesson.desk.standing.attempts[0].closing == "called_off"


def test_with_a_camera_the_water_is_judged_and_the_boat_is_followed(tmp_path: Path) -> None:
    with Practice(rig_file(tmp_path, has_camera=True), plan(1, repeats=1)) as lesson:
        lesson.until(lambda board: board.water == "calm")
        lesson.desk.arm()
        lesson.until(lambda board: board.boat_mm is not None)
        board = lesson.until(lambda board: board.state == "deciding" and board.last and board.last.is_final)
        assert board.last is not None
        assert board.last.figures
        trial = lesson.desk.trial("r1")
        assert trial is not None
        assert trial.results["path_mm"].witness == "camera"


@pytest.mark.parametrize("kind", ["load", "balance"])
def test_weights_are_counted_without_any_device(tmp_path: Path, kind: KindOfRun) -> None:
    made = plan(2, repeats=1, kind=kind, shows_ranking=True)
    with Practice(rig_file(tmp_path, hands_every_s=1e9), made) as lesson:
        for number, count in ((1, 12), (2, 5)):
            lesson.until(lambda board: board.state == "called")
            lesson.desk.arm()
            lesson.until(lambda board: board.state == "deciding")
            lesson.desk.count("weights", count)
            lesson.desk.decide("valid")
            name = f"r{number}"
            lesson.until(lambda _, name=name: counted(lesson.desk.trial(name)))
        board = lesson.until(lambda board: board.state == "done")
        # one test of each boat places nobody: they stand by team
        assert sorted(one.figure.value for one in board.ranking if one.figure) == [5, 12]
        stored = lesson.folder.stored()
        assert [one.trial.results["weights_count"].quantity.value for one in stored] == [12, 5]
        assert [one.trial.flags for one in stored] == [(), ()]
        assert {one.closing for one in lesson.desk.standing.attempts} == {"entered_by_hand"}  # type: ignore[union-attr]


def counted(trial: Trial | None) -> bool:
    return trial is not None and "weights_count" in trial.results
