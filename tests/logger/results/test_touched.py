"""A touch counts between go and the end, and is told in seconds since the last thing that happened before it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from logger.results.measure import conclude
from logger.results.trial import Trial
from logger.results.trial_json import from_json, to_json
from logger.vision.track import Touch


def measured(shop: Any, *touches: tuple[float, float], events: Any = ((1.0, "armed"), (1.5, "go"))) -> Trial:
    """A steady run: start line at 2 s, finish at 8 s, with touches then."""
    rig = shop.rig(gates=False)
    seen = tuple(Touch(shop.ns(a), shop.ns(b), 104.0) for a, b in touches)
    track = replace(shop.track(lambda t: 200 * t - 500, until_s=10), touches=seen)
    return conclude(shop.recording(rig, events=events), rig, track).trial


def test_a_touch_in_the_run_is_told_with_its_time_since_the_start(shop: Any) -> None:
    trial = measured(shop, (5.2, 5.6))
    assert trial.touches == (Touch(shop.ns(5.2), shop.ns(5.6), 104.0),)
    (told,) = [flag for flag in trial.flags if "touched" in flag]
    assert "at 3.2 s to 3.6 s after the start" in told
    assert "changed by 0.10 m/s" in told


def test_between_go_and_the_start_line_it_counts_from_go(shop: Any) -> None:
    (told,) = [flag for flag in measured(shop, (1.7, 1.9)).flags if "touched" in flag]
    assert "at 0.2 s to 0.4 s after go" in told


@pytest.mark.parametrize("span", [(0.5, 0.8), (1.4, 1.6), (8.5, 8.8)], ids=["armed", "before go", "after the finish"])
def test_who_holds_the_boat_before_or_takes_it_out_after_is_not_accused(shop: Any, span: tuple[float, float]) -> None:
    trial = measured(shop, span)
    assert trial.touches == ()
    assert not [flag for flag in trial.flags if "touched" in flag]


def test_without_go_the_run_begins_at_the_start_line(shop: Any) -> None:
    trial = measured(shop, (1.7, 1.9), (4.0, 4.2), events=())
    assert [touch.from_ns for touch in trial.touches] == [shop.ns(4.0)]


def test_a_touch_changes_no_number_of_the_trial(shop: Any) -> None:
    """It is for people to decide what it means."""
    bare, touched = measured(shop), measured(shop, (5.2, 5.6))
    assert (bare.results, bare.status, bare.end_reason) == (touched.results, touched.status, touched.end_reason)


def test_it_is_kept_in_the_file_and_an_older_file_has_none(shop: Any) -> None:
    trial = measured(shop, (5.2, 5.6), (6.0, 6.1))
    assert len(trial.touches) == 2
    text = to_json(trial)
    assert from_json(text) == trial
    older = text[: text.index(' "touches"')] + text[text.index(' "contributions"') :]
    assert from_json(older) == replace(trial, touches=())


def test_a_run_without_pictures_has_no_touches(shop: Any) -> None:
    rig = shop.rig()
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))]
    assert conclude(shop.recording(rig, edges=edges), rig, None).trial.touches == ()
