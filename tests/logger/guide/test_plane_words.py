"""What is told and kept of a plane: how good first, then why, then what to know."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from calibration.files import CameraCalibration
from calibration.plane import PlacedMark
from logger.guide.plane_words import evidence_of, told
from logger.station.plane_session import work_out
from tests.logger.station.test_plane_session import RIG, RIM, by_rim, slat


def test_a_plane_that_is_not_good_enough_is_not_called_good() -> None:
    result = work_out(by_rim(u_mark_mm=5.0))
    first, *_ = told(result, None).splitlines()
    assert f"± {result.worth.worst_mm:.1f} mm (95 %) all over the tank: more than the 3 mm to aim for" in first


def test_doubts_are_notes_and_sources_are_named() -> None:
    words = told(work_out(by_rim(checks=())), None)
    assert "  note: not set against a known length" in words
    assert "doubt there (mm, 95 %): " in words
    assert "water level" in words
    assert "tilted by 5.0 degrees" in words


def test_beside_one_in_use_the_difference_is_told() -> None:
    result = work_out(by_rim())
    before = CameraCalibration("old", result.fit.view, date="2026-05-04")
    assert 'beside the calibration in use ("old", made 2026-05-04): places move by up to 0.0 mm' in told(result, before)


def test_what_is_kept_says_how_good_it_is_and_what_it_was_checked_with() -> None:
    result = work_out(by_rim(checks=(slat(),)))
    kept = evidence_of(result, RIG, datetime(2026, 5, 4, 10, 15, tzinfo=UTC), lens_file="lens.toml")
    assert kept.words["worst_mm"] == pytest.approx(result.worth.worst_mm, abs=0.01)
    assert kept.words["lens_file"] == "lens.toml"
    assert "within what both allow" in kept.words["checks"][0]  # type: ignore[index]
    assert kept.map_svg.startswith("<svg")
    assert kept.looked[0].names == tuple(mark.name for mark in RIM)
    assert kept.looked[0].drawn.shape == (720, 1280, 3)
    assert isinstance(RIM[0], PlacedMark)
