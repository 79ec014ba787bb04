from __future__ import annotations

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.checkup.placed import Known, Placements, placed
from logger.config import Gate, Line, Rig, Tank
from logger.errors import ConfigError
from logger.recording.place_list import place_of_words

OUTLINE = ((-300.0, -250.0), (1500.0, -250.0), (1500.0, 250.0), (-300.0, 250.0))
VIEW = View(
    Lens(1280, 720, 600.0, 600.0, 639.5, 359.5), Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[600.0, 0.0, 1200.0])
)
START = Line("start", "start", (0.0, -250.0), (0.0, 250.0), 1.0)
FINISH = Line("finish", "finish", (1200.0, -250.0), (1200.0, 250.0), 1.0)


def rig(*lines: Line, gates: tuple[Gate, ...] = ()) -> Rig:
    return Rig("r", Tank(OUTLINE, 100.0), lines, gates)


def put(*words: str, on: Rig | None = None, known: Known | None = None) -> Placements:
    given = [place_of_words(each) for each in words]
    return placed(given, known or Known(on or rig(), VIEW), place="here")


def pixel(x: float, y: float, z: float = 0.0) -> str:
    u, v = VIEW.to_pixels_through_water([[x, y, z]])[0]
    return f"@{u:.4f},{v:.4f}"


# --- lines ---


def test_typed_lines_go_from_wall_to_wall() -> None:
    (start, finish) = put("start start 0,-200 0,200", "finish finish x=1200").lines
    assert (start.a_mm, start.b_mm) == ((0.0, -250.0), (0.0, 250.0))
    assert (finish.role, finish.a_mm[0], finish.b_mm[0]) == ("finish", 1200.0, 1200.0)
    assert 0.5 < start.u_mm < 1.2


def test_a_tape_on_the_floor_means_the_plane_above_it() -> None:
    a, b = pixel(1000.0, -200.0, -100.0), pixel(1000.0, 200.0, -100.0)
    (under,) = put(f"mark mark {a}/floor {b}/floor").lines
    assert under.a_mm[0] == pytest.approx(1000.0, abs=0.05)
    (wrong,) = put(f"mark mark {a} {b}").lines
    assert 1000.0 - wrong.a_mm[0] > 20.0  # what a line would be off by if the water were forgotten


def test_rim_marks_are_seen_at_their_height() -> None:
    seen = {4: VIEW.to_pixels([[1200.0, -260.0, 45.0]])[0], 5: VIEW.to_pixels([[1200.0, 260.0, 45.0]])[0]}
    (line,) = put("finish finish #4/45 #5/45", known=Known(rig(), VIEW, seen)).lines
    assert line.a_mm == pytest.approx((1200.0, -250.0), abs=0.02)


def test_a_beam_is_put_at_the_line_that_it_crosses_at() -> None:
    (gate,) = put(
        f"beam B {pixel(1205.0, -270.0, 30.0)}/30 {pixel(1205.0, 270.0, 30.0)}/30", on=rig(START, FINISH)
    ).gates
    assert (gate.line, gate.offset_mm) == ("finish", pytest.approx(5.0, abs=0.05))
    assert gate.u_offset_mm > 1.0  # not better than the line that it counts from


def test_a_known_gate_keeps_what_else_is_known_of_it() -> None:
    old = Gate("B", "finish", 0.0, 9.0, u_stamp_s=0.002)
    (gate,) = put("beam B 1203,-250 1203,250", on=rig(START, FINISH, gates=(old,))).gates
    assert (gate.offset_mm, gate.u_stamp_s) == (3.0, 0.002)


def test_a_beam_that_is_turned_is_doubted_and_told() -> None:
    made = put("beam B 1190,-250 1210,250", on=rig(START, FINISH))
    assert made.gates[0].u_offset_mm == pytest.approx(np.hypot(10 / np.sqrt(3), 1.3), abs=0.4)
    assert "turned by 2.3°" in made.notes[0]


def test_zones_round_and_with_corners() -> None:
    made = put("port harbour 600,240 800,240 800,100 600,100", 'ring "red" 700,0 r=60')
    harbour, ring = made.zones
    assert harbour.outline_mm[0] == (600.0, 100.0)  # they went round clockwise, and were turned
    assert (ring.middle_mm, ring.radius_mm) == ((700.0, 0.0), 60.0)


def test_all_of_it_in_the_rig() -> None:
    made = put("start start x=2", "ring red 700,0 r=60", on=rig(START, FINISH))
    now = made.entered(rig(START, FINISH))
    assert [line.name for line in now.lines] == ["start", "finish"]
    assert now.lines[0].a_mm[0] == 2.0
    assert [zone.name for zone in now.zones] == ["red"]


# --- what cannot be ---


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("start start 2000,-200 2000,200",), "its middle 2000,0 is not in the water; wanted millimetres"),
        (("start start -200,1200 200,1200",), "were x and y exchanged"),
        (("start start 0,-25 0,25",), "it is 50 mm long between walls 500 mm apart; were cm typed for mm"),
        (("start start 0,-9.84 0,9.84",), "were inches typed for mm"),
        (("start start -100,0 900,0",), "it lies along the run"),
        (("start start 0,0 0,0",), "all its points at one place"),
        (("start start 0,0",), "a line needs two"),
        (("start start x=0 0,5",), "found x= and points"),
        (("start start x=1200", "finish finish x=0"), "before the start line at 1200 mm; .* were the two exchanged"),
        (("start start x=0", "mark mark x=-100"), '"mark": it lies at x = -100 mm, before the start line'),
        (("start start x=0", "finish finish 60,-250 -20,250"), 'it crosses the line "start" in the water'),
        (("start a x=0", "start a x=5"), "found this name twice"),
        (("port p 600,0 700,100 700,0 600,100",), "its corners do not go round it"),
        (("port p 600,0 700,100",), "found 2 of its corners; wanted three or more"),
        (("port p 600,0 700,100 9000,0",), "its point 9000,0 is not in the water"),
        (("ring r 600,0 700,0 r=50",), "found a radius and 2 points"),
        (("start start @5000,2 @3,4",), "pixel 5000,2 is outside of the picture of 1280 x 720"),
        (("start start @600,2/floor @600,700/floor",), "would lie on the floor at 516,757, outside of the tank"),
        (("start start #3/45 #4/45",), "mark 3 is not to be seen"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(words: tuple[str, ...], told: str) -> None:
    with pytest.raises(ConfigError, match=told):
        put(*words)


def test_a_second_start_line_is_refused() -> None:
    with pytest.raises(ConfigError, match='there is a start line already, "start"; give it that name to set it anew'):
        put("start other x=10", on=rig(START, FINISH))


def test_beams_at_exchanged_lines_are_refused() -> None:
    gates = (Gate("A", "start"), Gate("B", "finish"))
    with pytest.raises(ConfigError, match='it lies at the line "finish", but is said to time "start"; are two gates'):
        put("beam A x=1200", "beam B x=0", on=rig(START, FINISH, gates=gates))


def test_a_beam_at_no_line_is_refused() -> None:
    with pytest.raises(ConfigError, match=r"its beam lies at no line \(the nearest is 600 mm off\)"):
        put("beam A x=600", on=rig(START, FINISH))


def test_a_mark_without_its_height_is_asked_for() -> None:
    known = Known(rig(), VIEW, {4: np.array([640.0, 100.0]), 5: np.array([640.0, 600.0])})
    with pytest.raises(ConfigError, match="how high above the water is mark 4"):
        put("finish finish #4 #5", known=known)


def test_pointing_needs_a_calibrated_camera() -> None:
    with pytest.raises(ConfigError, match="there is no calibrated camera; calibrate the plane first"):
        put("finish finish @600,100 @600,600", known=Known(rig()))


def test_all_mistakes_are_told_at_once() -> None:
    with pytest.raises(ConfigError, match="needs two") as caught:
        put("start start 0,0", "finish finish 9000,0 9000,9")
    assert len(caught.value.mistakes) == 2


# --- what is only odd ---


def test_a_short_line_and_a_start_elsewhere_are_told() -> None:
    made = put("start start 100,-60 100,60")
    assert any("typed over 24 % of the water's width" in note for note in made.notes)
    assert any("the start line lies at x = 100 mm" in note for note in made.notes)


def test_a_bent_tape_is_told() -> None:
    assert "lies 13 mm beside the straight line" in put("start start 0,-200 20,0 0,200").notes[0]
