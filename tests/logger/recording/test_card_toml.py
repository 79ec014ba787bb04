"""recording.toml: the run's card."""

from __future__ import annotations

import tomllib
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.config import Boat, Conditions, Rules, RunCard, Tag
from logger.errors import ConfigError
from logger.recording.card_toml import card_from_table, card_text, read_card

CARD: dict[str, Any] = {
    "format": "boatrun-recording/1",
    "id": "r1",
    "kind": "drift",
    "recorded_at": "2026-05-04T10:15:00Z",
    "boat": {"name": "Paper Swan", "mass_g": 40},
}


def mistakes_of(changes: dict[str, Any]) -> tuple[str, ...]:
    with pytest.raises(ConfigError, match=r"^recording\.toml: ") as caught:
        card_from_table({**CARD, **changes}, file="recording.toml")
    return caught.value.mistakes


def test_a_short_card_is_enough() -> None:
    card = card_from_table(CARD, file="")
    assert card == RunCard("r1", "drift", "2026-05-04T10:15:00Z", Boat("Paper Swan", mass_g=40.0))


@pytest.mark.parametrize(
    ("changes", "mistake"),
    [
        ({"boat": {"name": "x", "mass_g": -4}}, "boat.mass_g: found -4, wanted a number > 0"),
        ({"boat": {"name": "x", "mass_g": float("nan")}}, "boat.mass_g: found nan, wanted a number > 0"),
        ({"boat": {"name": "x", "version": 0}}, "boat.version: found 0, wanted a whole number ≥ 1"),
        ({"boat": {"name": "@x"}}, 'boat.name: found "@x", wanted text that does not begin with = + - @'),
        ({"boat": {"nam": "x"}}, 'boat.nam: unknown name; did you mean "name"?'),
        ({"boat": {"name": "x", "tag": {"kind": "square"}}}, "boat.tag.number: missing, wanted the number printed"),
        ({"boat": {"name": "x", "tag": {"kind": "disc", "number": 3}}}, "boat.tag.number: found 3, wanted none for a"),
        ({"boat": {"name": "x", "tag": {}}}, "boat.tag.kind: missing"),
        ({"kind": "race"}, 'kind: found "race", wanted one of "straight", "drift"'),
        ({"kind": "strait"}, 'kind: found "strait", wanted one of'),
        ({"id": "../up"}, 'id: found "../up", wanted text without any of /'),
        ({"recorded_at": "4.5.2026"}, 'recorded_at: found "4.5.2026", wanted date, time and offset'),
        ({"recorded_at": "2026-05-04T10:15:00"}, 'recorded_at: found "2026-05-04T10:15:00", wanted date, time and'),
        ({"recorded_at": 5}, "recorded_at: found 5, wanted text in quotes"),
        ({"format": "boatrun-recording/9"}, 'format: found "boatrun-recording/9", wanted "boatrun-recording/1"'),
        ({"rules": {"time_cap_s": 0}}, "rules.time_cap_s: found 0, wanted a number > 0"),
        ({"conditions": {"power": "steam"}}, 'conditions.power: found "steam", wanted one of "breath"'),
        ({"conditions": {"blowers_count": -1}}, "conditions.blowers_count: found -1, wanted a whole number ≥ 0"),
        ({"conditions": {"wind_direction_deg": 361}}, "conditions.wind_direction_deg: found 361, wanted"),
        ({"conditions": {"cargo_g": "12 g"}}, 'conditions.cargo_g: found "12 g", wanted a number ≥ 0'),
        ({"conditions": {"water_temperature_degc": 293}}, "conditions.water_temperature_degc: found 293, wanted a"),
    ],
)  # fmt: skip
def test_each_mistake_is_told_with_place_found_and_wanted(changes: dict[str, Any], mistake: str) -> None:
    assert [m for m in mistakes_of(changes) if m.startswith(mistake)]


def test_the_date_may_stand_there_without_quotes(tmp_path: Path) -> None:
    path = tmp_path / "recording.toml"
    path.write_text(card_text(card_from_table(CARD, file="")).replace('"2026-05-04T10:15:00Z"', "2026-05-04T10:15:00Z"))
    assert read_card(path).recorded_at == "2026-05-04T10:15:00+00:00"


name = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=12)
amount = st.none() | st.floats(0.001, 1e5)
tags = st.builds(Tag, st.just("square"), st.integers(0, 99), st.floats(1, 99), st.just(0.2), amount) | st.builds(
    Tag, st.just("disc"), size_mm=st.floats(1, 99), bow_ahead_mm=amount, left_mm=st.floats(-99, 99)
)
boats = st.builds(
    Boat, name, name, st.integers(1, 99), amount, st.just(1.0), amount, st.just(0.5), amount, st.just(0.1), amount,
    st.just(0.3), amount, name, name, name, st.none() | tags,
)  # fmt: skip
conditions = st.builds(
    Conditions, st.sampled_from(["fan", "breath"]), st.none() | st.integers(0, 9), amount, name,
    st.none() | st.floats(-360, 360), amount, st.none() | st.floats(-5, 60), name,
)  # fmt: skip
rules = st.builds(Rules, *[st.floats(0.001, 1e5)] * 5)
moments = st.datetimes(timezones=st.just(UTC)).map(lambda moment: moment.isoformat())
cards = st.builds(
    RunCard, name, st.sampled_from(["straight", "drift"]), moments, boats, conditions, rules, name, name, st.booleans()
)


@given(cards)
def test_every_card_survives_the_way_through_its_file(card: RunCard) -> None:
    assert card_from_table(tomllib.loads(card_text(card)), file="") == card
