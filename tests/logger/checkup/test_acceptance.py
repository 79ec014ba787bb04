from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.checkup.acceptance import begun, items_of
from logger.config import DriverChoice
from logger.errors import InputError
from logger.recording.rig_toml import read_rig, rig_text
from logger.simulator.live import SimulatedTank


@pytest.fixture
def place(tmp_path: Path) -> Path:
    tank = SimulatedTank(kind="straight", seed=1003)
    (tmp_path / "rig.toml").write_text(rig_text(tank.rig), encoding="utf-8")
    (tmp_path / "camera.toml").write_text(tank.camera_text, encoding="utf-8")
    return tmp_path / "rig.toml"


def names(path: Path, **changed: object) -> list[str]:
    return [item.name for item in items_of(replace(read_rig(path), **changed))]  # type: ignore[arg-type]


def test_a_rig_must_pass_what_it_has(place: Path) -> None:
    gates = ["straws:start-gate", "straws:finish-gate", "ripples"]
    assert names(place) == ["check", *gates, "light", "plane", "pulls", "plug"]
    assert names(place, camera=None) == ["check", *gates, "plug"]
    assert names(place, gates=(), gates_driver=None) == ["check", "plane", "plug"]


def test_every_item_says_what_people_do(place: Path) -> None:
    for item in items_of(read_rig(place)):
        assert len(item.how) > 40
        assert item.title
    straw = items_of(read_rig(place))[1]
    assert (straw.kind, straw.gate) == ("straws", "start-gate")


def test_it_is_of_these_files_and_no_others(place: Path) -> None:
    first = begun(place, read_rig(place), at="2026-11-26T10:00:00+00:00")
    assert first.simulated
    assert first.software.startswith("boatrun ")
    camera = place.with_name("camera.toml")
    camera.write_text(camera.read_text() + "\n# touched\n")
    second = begun(place, read_rig(place), at=first.begun_at)
    assert second.rig_file_sha256 == first.rig_file_sha256
    assert second.calibration_sha256 != first.calibration_sha256
    camera.unlink()
    with pytest.raises(InputError, match=r"camera.toml: cannot be read"):
        begun(place, read_rig(place), at="")


def test_a_simulated_device_makes_it_simulated_whatever_the_file_says(place: Path) -> None:
    rig = replace(read_rig(place), simulated=False)
    assert begun(place, rig, at="").simulated
    bare = replace(rig, camera=None, gates_driver=DriverChoice("gpio_gates", {}))
    assert not begun(place, bare, at="").simulated
    assert begun(place, replace(bare, light_driver=DriverChoice("simulated_light", {})), at="").simulated
