from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from logger.config import Gate, Line, Zone
from logger.errors import ConfigError, InputError
from logger.recording.rig_change import Change, change_rig, keep_dated
from logger.recording.rig_toml import read_rig

AT = datetime.fromisoformat("2026-05-04T10:15:00+02:00")
RIG = """format = "boatrun-rig/1"  # of the club
name = "Bath"
[tank]
length_mm = 1600
width_mm = 500
water_depth_mm = 100
[[lines]]
name = "start"  # green tape
role = "start"
x_mm = 100
u_mm = 3
[[gates]]
name = "red"
line = "start"
"""
FINISH = Line("finish", "finish", (1500.0, -250.0), (1500.0, 250.0), u_mm=0.7)


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(RIG)
    return path


def test_new_things_are_added_and_the_older_file_is_kept_whole(rig: Path) -> None:
    zone = Zone("harbour", "port", middle_mm=(800.0, 100.0), radius_mm=60.0)
    change = Change(lines=[FINISH], gates=[Gate("blue", "finish", 2.0, 0.8)], zones=[zone], because="places-1")
    older = change_rig(rig, change, at=AT)
    assert older.read_text() == RIG
    assert older.name == "rig-before-2026-05-04T101500.toml"
    now = read_rig(rig)
    assert now.lines[1] == FINISH
    assert now.gates[1] == Gate("blue", "finish", 2.0, 0.8)
    assert now.zones == (zone,)


def test_what_is_there_is_set_anew_and_its_comments_stay(rig: Path) -> None:
    change_rig(
        rig, Change(lines=[Line("start", "start", (102.0, -250.0), (98.0, 250.0), 0.9)], because="places-1"), at=AT
    )
    (line,) = read_rig(rig).lines
    assert (line.a_mm, line.b_mm, line.u_mm) == ((102.0, -250.0), (98.0, 250.0), 0.9)
    text = rig.read_text()
    assert "# of the club" in text
    assert "x_mm" not in text
    assert "# places-1" in text


def test_numbers_at_the_top_are_set(rig: Path) -> None:
    change_rig(rig, Change(entries={"gate_distance_mm": 1400.5, "u_gate_distance_mm": 0.9}), at=AT)
    assert read_rig(rig).gate_distance_mm == 1400.5


def test_two_changes_within_a_second_lose_nothing(rig: Path) -> None:
    first = change_rig(rig, Change(lines=[FINISH]), at=AT)
    between = rig.read_text()
    second = change_rig(rig, Change(entries={"gate_distance_mm": 1400.5}), at=AT)
    assert first.read_text() == RIG
    assert second.read_text() == between


def test_a_change_that_makes_the_rig_wrong_changes_nothing(rig: Path) -> None:
    with pytest.raises(ConfigError, match=r'gates\[2\]\.line: found "goal", wanted the name of a line'):
        change_rig(rig, Change(gates=[Gate("blue", "goal")]), at=AT)
    assert rig.read_text() == RIG
    assert list(rig.parent.iterdir()) == [rig]


def test_a_file_that_is_no_toml_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("name = ")
    with pytest.raises(InputError, match="this is not valid TOML"):
        change_rig(path, Change(lines=[FINISH]), at=AT)


def test_an_inline_list_of_lines_can_be_changed_too(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(
        'format = "boatrun-rig/1"\nname = "Bath"\n'
        'lines = [{ name = "start", role = "start", x_mm = 100 }]\n'
        "[tank]\nlength_mm = 1600\nwidth_mm = 500\nwater_depth_mm = 100\n"
    )
    change_rig(path, Change(lines=[FINISH], because="places-1"), at=AT)
    assert [line.name for line in read_rig(path).lines] == ["start", "finish"]


def test_a_dated_copy_never_takes_the_place_of_another(tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    names = [keep_dated(path, content, at=AT).name for content in (b"1", b"2")]
    assert names == ["card-before-2026-05-04T101500.toml", "card-before-2026-05-04T101500-2.toml"]
