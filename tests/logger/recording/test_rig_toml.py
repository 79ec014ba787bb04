"""rig.toml: readable to write, strict to read, and the same again after a round trip."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.config import CameraSetup, DriverChoice, Gate, Line, Rig, Tank, Zone
from logger.errors import ConfigError, InputError
from logger.recording.rig_toml import edit_rig, read_rig, rig_from_table, rig_text

BATH = """format = "boatrun-rig/1"  # the bath upstairs
name = "Bath"
gate_distance_mm = 1400
[tank]
length_mm = 1600
width_mm = 500
water_depth_mm = 100
[[lines]]
name = "start"
role = "start"
x_mm = 100
[[lines]]
name = "finish"
role = "finish"
a_mm = [1500, -250]
b_mm = [1500, 250]
[[gates]]
name = "red"
line = "start"
[gates_driver]
kind = "serial_gates"
port = "/dev/ttyACM0"
[panel_driver]
kind = "gpio_panel"
go_pin = 5
[camera]
calibration = "camera.toml"
delay_s = 0.004  # light sync of Tuesday
[camera.driver]
kind = "v4l2_camera"
device = 0
"""


def bath() -> dict[str, Any]:
    return tomllib.loads(BATH)


def mistakes_of(table: dict[str, Any]) -> tuple[str, ...]:
    with pytest.raises(ConfigError, match=r"^rig\.toml: ") as caught:
        rig_from_table(table, file="rig.toml")
    return caught.value.mistakes


def test_a_readable_rig_file_becomes_a_whole_rig() -> None:
    rig = rig_from_table(bath(), file="rig.toml")
    assert rig.tank == Tank(((0.0, -250.0), (1600.0, -250.0), (1600.0, 250.0), (0.0, 250.0)), 100.0)
    assert rig.lines[0] == Line("start", "start", (100.0, -250.0), (100.0, 250.0))
    assert rig.gates == (Gate("red", "start"),)
    assert rig.gates_driver == DriverChoice("serial_gates", {"port": "/dev/ttyACM0"})
    assert rig.panel_driver == DriverChoice("gpio_panel", {"go_pin": 5})
    assert rig.camera == CameraSetup(DriverChoice("v4l2_camera", {"device": 0}), "camera.toml", delay_s=0.004)


def test_the_corner_of_a_right_angled_tank_may_be_given() -> None:
    table = bath()
    table["tank"]["origin_mm"] = [-200, 0]
    assert rig_from_table(table, file="").tank.outline_mm == (
        (-200.0, 0.0), (1400.0, 0.0), (1400.0, 500.0), (-200.0, 500.0)
    )  # fmt: skip


def change(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    def apply(table: dict[str, Any]) -> None:
        *steps, last = (int(step) if step.isdigit() else step for step in path.split("."))
        place: Any = table
        for step in steps:
            place = place[step]
        if value is None:
            del place[last]
        else:
            place[last] = value

    return apply


@pytest.mark.parametrize(
    ("path", "value", "mistake"),
    [
        ("format", None, 'format: missing, wanted format = "boatrun-rig/1" on the first line'),
        ("format", "boatrun-rig/2", 'format: found "boatrun-rig/2", wanted "boatrun-rig/1"; was it made for another'),
        ("name", "=cmd()", 'name: found "=cmd()", wanted text that does not begin with'),
        ("tank", None, "tank: missing, wanted a table"),
        ("tank", 5, "tank: found 5, wanted a table"),
        ("tank.length_mm", "1600", 'tank.length_mm: found "1600", wanted a number > 0'),
        ("tank.width_mm", None, "tank.width_mm: missing, wanted a number > 0"),
        ("tank.water_depth_mm", -1, "tank.water_depth_mm: found -1, wanted a number > 0"),
        ("tank.outline_mm", [[0, -250], [1600, -250], [0, 250]], "tank: found both outline_mm and length_mm"),
        ("tank.legth_mm", 3, "tank.legth_mm: unknown name"),
        ("lines.0.x_mm", "900", 'lines[1].x_mm: found "900", wanted a number'),
        ("lines.0.x_mm", 90_000, "lines[1].a_mm: found a point far outside the tank, wanted millimetres"),
        ("lines.0.x_mm", None, "lines[1].a_mm: missing, wanted a list of 2 numbers"),
        ("lines.0.a_mm", [1, 2], "lines[1]: found both x_mm and a_mm or b_mm, wanted one of the two ways"),
        ("lines.1.b_mm", [1500, -250], "lines[2]: found both ends at the same point"),
        ("lines.1.a_mm", [1500], "lines[2].a_mm: found 1 values, wanted a list of 2 numbers"),
        ("lines.1.role", "end", 'lines[2].role: found "end", wanted one of "start", "mark", "finish"'),
        ("lines.1.name", "start", 'lines[2].name: found "start" again, wanted a name of its own'),
        ("lines", "start", 'lines: found "start", wanted a list'),
        ("gates.0.line", "stort", 'gates[1].line: found "stort", wanted the name of a line ("start", "finish"); did'),
        ("gates.0.u_offset_mm", "x", 'gates[1].u_offset_mm: found "x", wanted a number ≥ 0'),
        ("gates.0.u_stamp_s", -0.1, "gates[1].u_stamp_s: found -0.1, wanted a number ≥ 0"),
        ("gates.0.ofset_mm", 2, 'gates[1].ofset_mm: unknown name; did you mean "offset_mm"?'),
        ("gates_driver.kind", None, "gates_driver.kind: missing, wanted text in quotes"),
        ("camera.calibration", None, "camera.calibration: missing, wanted text in quotes"),
        ("camera.line_ns", 1.5, "camera.line_ns: found 1.5, wanted a whole number ≥ 0 and ≤ 1000000000"),
        ("camera.delay_s", float("inf"), "camera.delay_s: found inf, wanted a number"),
        ("camera.driver", "v4l2_camera", 'camera.driver: found "v4l2_camera", wanted a table'),
        ("gate_distance_mm", 0, "gate_distance_mm: found 0, wanted a number > 0"),
        ("simulated", "no", 'simulated: found "no", wanted true or false'),
    ],
)  # fmt: skip
def test_each_mistake_is_told_once_with_place_found_and_wanted(path: str, value: object, mistake: str) -> None:
    table = bath()
    change(path, value)(table)
    (told,) = [m for m in mistakes_of(table) if not m.startswith("lines[1].b_mm")]
    assert told.startswith(mistake)


@pytest.mark.parametrize(
    ("outline", "found"),
    [
        ([[0, 0], [9, 0]], "found 2 corners, wanted at least 3"),
        ([[0, 0], [0, 5], [9, 5], [9, 0]], "found corners in clockwise order"),
        ([[0, 0], [1, 1], [2, 2]], "found corners on one straight line"),
    ],
)
def test_an_outline_that_holds_no_water_is_refused(outline: list[list[int]], found: str) -> None:
    table = bath()
    table["tank"] = {"outline_mm": outline, "water_depth_mm": 5}
    assert any(m.startswith(f"tank.outline_mm: {found}") for m in mistakes_of(table))


def test_mistakes_of_all_parts_come_together() -> None:
    table = bath()
    for path, value in (("tank.length_mm", -1), ("lines.0.x_mm", "a"), ("gates.0.line", 7), ("name", "")):
        change(path, value)(table)
    assert [m.split(":")[0] for m in mistakes_of(table)] == ["tank.length_mm", "lines[1].x_mm", "name", "gates[1].line"]


name = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=12)
mm = st.floats(-2000, 2000, allow_nan=False)
positive = st.floats(0.001, 1e5)
roles = st.sampled_from(["start", "mark", "finish"])
drivers = st.builds(
    DriverChoice, name, st.dictionaries(name.filter(lambda n: n != "kind"), st.integers(0, 9) | name, max_size=2)
)
lengths = st.floats(1000, 4000)


@st.composite
def rigs(draw: st.DrawFn) -> Rig:
    length, width = draw(lengths), draw(lengths)
    tank = Tank(((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)), draw(positive), draw(positive))
    inside = st.tuples(st.floats(0, length), st.floats(0, width))
    names = draw(st.lists(name, min_size=1, max_size=4, unique=True))
    lines = tuple(Line(n, draw(roles), a, (a[0], a[1] + 10), draw(positive)) for n in names for a in [draw(inside)])
    gates = tuple(
        Gate(n, draw(st.sampled_from(names)), draw(mm), draw(positive), draw(positive))
        for n in draw(st.lists(name, max_size=3, unique=True))
    )
    kinds = st.sampled_from(["port", "obstacle", "ring"])
    zones = tuple(
        Zone(n, draw(kinds), middle_mm=draw(inside), radius_mm=draw(st.floats(1, 500)))
        for n in draw(st.lists(name, max_size=2, unique=True))
    )
    camera = st.builds(CameraSetup, st.none() | drivers, name, mm, positive, st.integers(0, 10**9))
    return Rig(
        draw(name), tank, lines, gates, draw(st.none() | drivers), draw(st.none() | camera),
        draw(st.none() | drivers), draw(st.none() | drivers), draw(st.none() | drivers),
        draw(st.none() | positive), draw(positive), draw(st.booleans()), zones,
    )  # fmt: skip


@given(rigs())
def test_every_rig_survives_the_way_through_its_file(rig: Rig) -> None:
    assert rig_from_table(tomllib.loads(rig_text(rig)), file="") == rig


def test_entering_a_calibration_keeps_the_comments(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(BATH)
    edit_rig(path, {"camera.calibration": "camera-2.toml", "u_gate_distance_mm": 0.8})
    text = path.read_text()
    assert "# the bath upstairs" in text
    assert "# light sync of Tuesday" in text
    rig = read_rig(path)
    assert rig.camera is not None
    assert (rig.camera.calibration, rig.u_gate_distance_mm) == ("camera-2.toml", 0.8)


def test_an_edit_that_makes_the_rig_wrong_is_refused_and_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(BATH)
    with pytest.raises(ConfigError, match=r"rig\.toml: gate_distance_mm: found -3, wanted a number > 0"):
        edit_rig(path, {"gate_distance_mm": -3})
    assert path.read_text() == BATH


def test_a_missing_rig_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
        read_rig(tmp_path / "none.toml")


ZONE = """
[[zones]]
name = "harbour"
kind = "port"
"""


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ("", r"zones\[1\]: wanted either outline_mm, or middle_mm and radius_mm"),
        ("middle_mm = [500, 0]", "wanted either outline_mm, or middle_mm and radius_mm"),
        ("middle_mm = [500, 0]\nradius_mm = 60\noutline_mm = [[0, 0], [9, 0], [9, 9]]", "wanted either outline_mm"),
        ("outline_mm = [[0, 0], [9, 0]]", r"zones\[1\].outline_mm: found 2 corners, wanted at least 3"),
        ("outline_mm = [[0, 0], [0, 9], [9, 9], [9, 0]]", "do not go round it anticlockwise"),
        ("outline_mm = [[0, 0], [9, 9], [9, 0], [0, 9]]", "do not go round it anticlockwise"),
        ("middle_mm = [500, 0]\nradius_mm = -1", "radius_mm: found -1, wanted a number > 0"),
    ],
)
def test_a_zone_of_no_shape_is_refused(tmp_path: Path, more: str, told: str) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(BATH + ZONE + more + "\n")
    with pytest.raises(ConfigError, match=told):
        read_rig(path)


def test_a_zone_by_its_corners_is_read(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(BATH + ZONE + "outline_mm = [[300, -100], [400, -100], [400, 100], [300, 100]]\n")
    (zone,) = read_rig(path).zones
    assert (zone.name, zone.kind, len(zone.outline_mm), zone.u_mm) == ("harbour", "port", 4, 5.0)
