from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from logger.results import doubts
from logger.results.crossings import Agreement
from logger.results.motion import smooth
from logger.results.passages import passages
from logger.vision.track import BRIDGED, DOUBTFUL


def test_every_kind_of_odd_edge_has_its_sentence(shop: Any) -> None:
    edges = shop.edges("A", (1.0, 1.0004), (2.0, 3.0))
    found = doubts.of_passages({"A": passages(edges)}, origin_ns=shop.zero_ns)
    assert found == ["Gate A: the beam broke for only 0.4 ms at 1.000 s; too short for a boat, left out."]
    cases = {
        "missing near 2.000": edges[2:3] + edges[2:3] + shop.edges("A", (2.5, 3.0)),
        "already broken": edges[3:],
        "not become clear": edges[2:3],
    }
    for words, odd in cases.items():
        assert any(words in s for s in doubts.of_passages({"A": passages(odd)}, origin_ns=shop.zero_ns)), words


@pytest.mark.parametrize(
    ("seen_mm", "odd"), [(200.0, False), (110.0, False), (290.0, False), (90.0, True), (320.0, True), (None, False)]
)
def test_a_length_far_from_the_cards_is_told(shop: Any, seen_mm: float | None, odd: bool) -> None:
    (one,) = passages(shop.edges("A", (2.0, 3.0)))
    assert bool(doubts.of_length(one, seen_mm, shop.boat())) is odd
    assert doubts.of_length(one, 5.0, shop.boat(length_mm=None)) == []


def test_a_boat_that_sets_off_in_the_beam_is_longer_in_it(shop: Any) -> None:
    """By eye: from rest, evenly faster, over 200 mm of 1 m it takes sqrt(0.2) of the time, which makes 447 mm."""
    (one,) = passages(shop.edges("A", (2.0, 3.0)))
    boat = shop.boat()
    assert boat.length_mm == 200
    assert doubts.of_length(one, 447.0, boat)
    assert doubts.of_length(one, 447.0, boat, from_rest_over_mm=1000.0) == []
    assert doubts.of_length(one, 700.0, boat, from_rest_over_mm=1000.0), "a hand that lingers is told all the same"
    assert doubts.of_length(one, 90.0, boat, from_rest_over_mm=1000.0), "and one that is too quick"


def test_agreement_within_the_joint_doubt_is_not_worth_a_word() -> None:
    assert doubts.of_agreement(Agreement("start", 0.004, 0.002)) == []
    (told,) = doubts.of_agreement(Agreement("start", -0.04, 0.004))
    assert "0.040 s earlier than the camera, 10.0 times" in told


def test_gaps_doubtful_pictures_and_scatter_are_told(shop: Any) -> None:
    track = shop.track(lambda t: 100 * t, noise_mm=0.6, said_mm=0.2)
    quality = track.quality.copy()
    quality[60:90], quality[120:123] = BRIDGED, DOUBTFUL
    odd = replace(track, quality=quality, flags=("the card may be wrong",))
    found = " ".join(doubts.of_track(odd, smooth(odd)))
    assert "the card may be wrong" in found
    assert "not seen for 1.0 s, 2.0 s after it was first seen" in found
    assert "In 3 of 240 pictures" in found
    assert "times as much as the tracker expected" in found
    calm = shop.track(lambda t: 100 * t)
    assert doubts.of_track(calm, smooth(calm)) == []


@pytest.mark.parametrize("reason", ["wall", "time_cap", "stopped_by_hand", "recording_ended"])
def test_a_cut_off_coast_is_a_lower_bound(reason: str) -> None:
    assert doubts.of_at_least(reason).endswith("so the drift is a lower bound.")


def test_a_hand_has_its_moment(shop: Any) -> None:
    (one,) = passages(shop.edges("A", (2.0, 3.0)))
    assert "broken at 2.000 s, when the bow was 31 mm past it" in doubts.of_other_than_bow(
        one, 31.2, origin_ns=shop.zero_ns
    )
    assert np.array(doubts.of_unseen("A", "start")).size
