from __future__ import annotations

from calibration.quantity import Quantity
from logger.checkup.placed import Placements, Spot
from logger.config import Gate, Line, Rig, Tank, Zone
from logger.guide.line_words import table, told

TANK = Tank(((-300.0, -250.0), (1500.0, -250.0), (1500.0, 250.0), (-300.0, 250.0)), 100.0)
LINES = (Line("start", "start", (0.0, -250.0), (0.0, 250.0)), Line("far", "finish", (1195.0, -250.0), (1205.0, 250.0)))
GATES = (Gate("A", "start", 1.0, 1.0), Gate("B", "far", -2.0, 1.0))
RIG = Rig("r", TANK, LINES, GATES)
MADE = Placements(
    LINES[1:], GATES[1:], (Zone("red", "ring", middle_mm=(700.0, 0.0), radius_mm=60.0),),
    parts_mm={"far": {"water depth": 0.8, "pointing and typing": 1.2, "camera height": 0.01}},
    spots=(Spot("far", (610.0, 80.0), (1204.0, 200.0), -100.0),), notes=("something odd",),
)  # fmt: skip


def taped(mm: float) -> Quantity:
    return Quantity.of(mm, "mm", u=1.0, source="tape")


def test_everything_is_told_with_its_doubt() -> None:
    said = told(MADE, RIG, None)
    assert "finish line far: x = 1200.0 mm at its middle, turned by -1.1°, ± 2.0 mm (95 %)" in said
    assert "pointing and typing 1.2, water depth 0.8\n" in said
    assert "gate B: its beam is 2.0 mm before the far line, ± 2.0 mm (95 %)" in said
    assert "ring red: round, 60 mm about its middle" in said
    assert "far: what is seen on the floor at 610,80 lies at 1204,200 mm" in said
    assert "note: something odd" in said


def test_a_tape_that_agrees_and_one_that_does_not() -> None:
    assert "within what both allow" in told(MADE, RIG, taped(1198.0))
    assert "MORE THAN BOTH ALLOW (-3.0%)" in told(MADE, RIG, taped(1234.0))


def test_what_is_kept_says_what_was_given_and_what_came_of_it() -> None:
    kept = table(MADE, RIG, taped(1198.0), [], made_at="2026-05-04T10:15:00+02:00", picture="photo.jpg")
    assert kept["lines"][0]["name"] == "far"
    assert kept["doubt_mm"]["far"]["water depth"] == 0.8
    assert (kept["taped_mm"], kept["picture"]) == (1198.0, "photo.jpg")
