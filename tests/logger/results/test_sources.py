from __future__ import annotations

from typing import Any

import pytest

from logger.results import sources


def test_noise_of_two_runs_is_two_sources() -> None:
    assert sources.of_run("noise", "1") != sources.of_run("noise", "2")
    assert sources.of_run("noise", "1") == sources.of_run("noise", "1")


@pytest.mark.parametrize(
    ("name", "the_boats"),
    [
        ("freeboard", True),
        ("hull outline, along", True),
        ("tag height", True),
        ("camera height", False),
        ("tilt", False),
    ],
)
def test_what_belongs_to_the_boat_is_not_shared_with_another(shop: Any, name: str, the_boats: bool) -> None:
    teal, plum = shop.boat(), shop.boat(name="Plum")
    assert (sources.of_track(name, teal) != sources.of_track(name, plum)) is the_boats
    assert sources.of_track(name, teal).name == name


def test_a_rebuilt_boat_is_another_boat(shop: Any) -> None:
    assert sources.of_boat("freeboard", shop.boat()) != sources.of_boat("freeboard", shop.boat(version=2))
