from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from logger.errors import InputError
from logger.study.kept_track import outline_of, reach_mm, read_track, series_of_track
from tests.logger.study.invented_class import (
    BASE_NS,
    FINISH_MM,
    LENGTH_MM,
    RIG,
    Sail,
    along_mm,
    card_of,
    track_of,
    trial_of,
)

SAIL = Sail("Heron", "straight", 1, 250.0)


@pytest.fixture
def columns(tmp_path: Path) -> dict[str, np.ndarray]:
    (tmp_path / "track.csv").write_text(track_of(SAIL), encoding="utf-8")
    found = read_track(tmp_path / "track.csv")
    assert found is not None
    return found


def test_the_bow_is_where_it_truly_was_though_the_track_tells_of_the_middle(columns: dict[str, np.ndarray]) -> None:
    series = series_of_track(columns, trial_of(SAIL, 1), RIG, card_of(SAIL, 1).boat)
    true = np.array([along_mm(SAIL, t) for t in series.t_s]) / 1000
    assert np.abs(series.along_m - true).max() < 0.0006
    assert series.zero == "the bow reached the start line"
    assert np.array_equal(~series.seen, (series.t_s > 1.0) & (series.t_s < 1.2))


def test_how_far_the_bow_is_ahead_is_told_by_the_crossings_not_by_the_card(columns: dict[str, np.ndarray]) -> None:
    boat = replace(card_of(SAIL, 1).boat, length_mm=300.0)
    reach, u = reach_mm(columns, trial_of(SAIL, 1), RIG, boat)
    assert reach == pytest.approx(LENGTH_MM / 2, abs=0.5)
    assert 0 < u < 1.0


def test_lines_that_disagree_make_it_doubtful(columns: dict[str, np.ndarray]) -> None:
    trial = trial_of(SAIL, 1)
    late = replace(trial.crossings[1], t_ns=trial.crossings[1].t_ns + 40_000_000)  # 10 mm at 250 mm/s
    _, u = reach_mm(columns, replace(trial, crossings=(trial.crossings[0], late)), RIG, card_of(SAIL, 1).boat)
    assert u == pytest.approx(5.0, abs=0.6)


def test_without_a_crossing_the_card_has_to_do(columns: dict[str, np.ndarray]) -> None:
    lost = replace(trial_of(SAIL, 1), crossings=())
    assert reach_mm(columns, lost, RIG, card_of(SAIL, 1).boat) == (80.0, 8.0)
    assert series_of_track(columns, lost, RIG, card_of(SAIL, 1).boat).zero == "the first picture of the boat"


def test_the_track_ends_shortly_after_the_finish(columns: dict[str, np.ndarray]) -> None:
    far = {name: np.concatenate([c, c[-1:] + (60_000_000_000 if name == "t_ns" else 0)]) for name, c in columns.items()}
    series = series_of_track(far, trial_of(SAIL, 1), RIG, card_of(SAIL, 1).boat)
    assert series.t_s[-1] <= FINISH_MM / 250.0 + 0.5
    assert BASE_NS > 0


def test_the_hull_that_is_drawn_has_the_bow_and_the_length() -> None:
    hull = outline_of(90.0, card_of(SAIL, 1).boat)
    assert hull[:, 0].max() == 90.0
    assert hull[:, 0].max() - hull[:, 0].min() == LENGTH_MM
    assert hull[:, 1].max() == 35.0


def test_no_file_and_no_line_are_no_track(tmp_path: Path) -> None:
    assert read_track(tmp_path / "track.csv") is None
    (tmp_path / "track.csv").write_text(track_of(SAIL).splitlines()[0] + "\n", encoding="utf-8")
    assert read_track(tmp_path / "track.csv") is None


@pytest.mark.parametrize("spoil", [lambda text: "a,b\n1,2\n", lambda text: text.replace("0.250", "fast", 1)])
def test_what_is_no_track_is_told(tmp_path: Path, spoil: object) -> None:
    (tmp_path / "track.csv").write_text(spoil(track_of(SAIL)), encoding="utf-8")  # type: ignore[operator]
    with pytest.raises(InputError, match="measure the recording again"):
        read_track(tmp_path / "track.csv")


def test_the_doubt_across_the_lane_grows_with_what_the_bow_is_ahead(columns: dict[str, np.ndarray]) -> None:
    """By hand: u of the middle 0.5 mm, bow half a length ahead, so 0.5·√(1 + 2/4); a jitter of 2° takes its place."""
    trial, boat = trial_of(SAIL, 1), card_of(SAIL, 1).boat
    series = series_of_track(columns, trial, RIG, boat)
    assert series.u_across_m is not None
    np.testing.assert_allclose(1000 * series.u_across_m, 0.5 * np.sqrt(1.5), rtol=0.01)
    shaken = columns | {"heading_deg": np.random.default_rng(3).normal(0, 2.0, len(columns["t_ns"]))}
    found = series_of_track(shaken, trial, RIG, boat)
    assert found.u_across_m is not None
    expected = np.hypot(0.5, reach_mm(shaken, trial, RIG, boat)[0] * np.radians(2.0))
    np.testing.assert_allclose(1000 * found.u_across_m, expected, rtol=0.15)
