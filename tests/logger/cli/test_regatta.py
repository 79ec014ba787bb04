from __future__ import annotations

from collections import Counter

import pytest

from logger.cli import regatta
from logger.cli.demo import FIRST_SEED, _wishes
from logger.cli.regatta import BOATS, SAILS, Sail
from logger.simulator.live import SimulatedTank


def test_every_boat_sails_three_straight_runs_and_one_drift() -> None:
    assert Counter((sail.boat, sail.kind) for sail in SAILS) == {
        (boat, kind): count for boat in BOATS for kind, count in (("straight", 3), ("drift", 1))
    }


def test_cards_say_what_a_ruler_would_have_said() -> None:
    for hull in BOATS.values():
        card = hull.card
        for name in ("length_mm", "width_mm", "freeboard_mm"):
            assert abs(getattr(card, name) - getattr(hull, name)) <= 0.5
        assert card.mass_g == round(hull.mass_g)


def test_all_runs_are_in_one_tank_under_one_camera() -> None:
    tanks = [SimulatedTank(seed=FIRST_SEED + i, kind=sail.kind, **_wishes(sail)) for i, sail in enumerate(SAILS, 1)]
    assert len({tank.camera_text for tank in tanks}) == 1
    assert len({tank.rig.tank for tank in tanks}) == 1
    assert len({tank.rig.line("start") for tank in tanks}) == 1
    assert len({tank.rig.camera.delay_s for tank in tanks if tank.rig.camera}) == 1
    assert all(tank.card.simulated and tank.rig.simulated for tank in tanks)


@pytest.mark.parametrize("number", [i for i, sail in enumerate(SAILS, 1) if sail.reaches_wall])
def test_the_boat_that_should_reach_the_wall_does(number: int) -> None:
    sail: Sail = SAILS[number - 1]
    tank = SimulatedTank(seed=FIRST_SEED + number, kind=sail.kind, **_wishes(sail))
    wall_mm = regatta.TANK["tank_length_mm"] - regatta.TANK["tank_back_mm"]  # type: ignore[operator]
    mark = next(line["place_mm"] for line in tank.truth["lines"] if line["role"] == "mark")
    assert tank.truth["drift_mm"] > wall_mm - mark - 5.5
