from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.cli import main
from logger.recording.rig_toml import rig_text
from logger.simulator.live import SimulatedTank
from tests.logger.checkup.rig_text import RIG, TWO_GATES
from tests.logger.drivers.fake_kernel import Controller
from tests.logger.drivers.gpio_worlds import LABEL, A, B, board

PINS = 'kind = "gpio_gates"\npins = { A = 17, B = 27 }\nblocked_is = "low"\n'


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rig file of a simulated tank with gates and a camera, its calibration beside it."""
    folder = tmp_path_factory.mktemp("simulated")
    tank = SimulatedTank(kind="straight", seed=1003, camera_errors=True)
    (folder / "rig.toml").write_text(rig_text(tank.rig), encoding="utf-8")
    (folder / "camera.toml").write_text(tank.camera_text, encoding="utf-8")
    return folder / "rig.toml"


@pytest.fixture
def gutter(tmp_path: Path) -> Callable[[str], Path]:
    """Writes the rig file of a gutter with two gates and this driver."""

    def make(driver: str) -> Path:
        path = tmp_path / "rig.toml"
        path.write_text(RIG + TWO_GATES + "[gates_driver]\n" + driver, encoding="utf-8")
        return path

    return make


@pytest.fixture
def pins(monkeypatch: pytest.MonkeyPatch) -> Iterator[Controller]:
    """A Raspberry Pi's header with two sensors, both clear; the kernel and gpiod's way to it are stood in for."""
    controller = Controller(LABEL)
    with board(monkeypatch, controller):
        for pin in (A, B):
            controller.drive(pin, True)
        yield controller


def as_json(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    status = main(["check", *map(str, words), "--json"])
    return status, json.loads(capsys.readouterr().out)


def wrong(table: dict[str, Any]) -> list[str]:
    return [f"{one['part']}: {one['found']}" for one in table["findings"] if one["health"] == "wrong"]


def test_a_simulated_rig_is_fit_and_told_in_plain_lines(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(simulated), "--keep-view"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[:2] == ["rig file", "  ok     simulated: no real water, and every result says so"]
    assert [line for line in lines if line and not line.startswith(" ")][-1].startswith("Fit to run: ")
    assert all(
        line.startswith(("  ok     ", "  doubt  ", "  WRONG  ", "         -> ")) for line in lines if line[:1] == " "
    )
    assert "\x1b" not in "".join(lines), "no colours"
    (view,) = simulated.parent.glob("camera-view-*.png")
    assert f"  ok     a picture is kept as {view.name}; later checks are compared with it" in lines


def test_json_says_the_same_as_one_object(simulated: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(simulated), "--keep-view"]) == 0
    status, table = as_json(capsys, simulated)
    assert (status, table["format"], table["fit"]) == (0, "boatrun-check/1", True)
    assert wrong(table) == []
    assert {"part", "health", "found", "cure"} == set(table["findings"][0])
    (place,) = [one for one in table["findings"] if one["part"] == "camera's place" and "as it was" in one["found"]]
    assert place["health"] == "well", "the picture that was kept is found again"


def test_the_object_is_described_name_by_name(
    gutter: Callable[[str], Path], pins: Controller, project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, table = as_json(capsys, gutter(PINS))
    text = (project / "logger/recording/FORMATS.md").read_text(encoding="utf-8")
    section = text.partition("## What `boatrun check --json` prints\n")[2].partition("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) | {"format"} == set(table)
    assert table["format"] in section
    assert all(f"`{name}`" in section for name in (*table["findings"][0], *("well", "doubtful", "wrong")))


def test_the_faults_come_again_at_the_end_with_their_cures_the_worst_first(
    gutter: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    path = gutter('kind = "v4l2_camera"\ndevice = "/dev/video99"\n')
    camera = '[camera]\ncalibration = "c.toml"\n[camera.driver]\n'
    path.write_text(path.read_text().replace("[gates_driver]\n", camera))
    assert main(["check", str(path)]) == 2
    told = capsys.readouterr().out
    end = told[told.index("\nLook here\n") :].splitlines()[2:]
    marks = [line[2:7].strip() for line in end if line.startswith("  ") and not line.startswith("   ")]
    assert marks == sorted(marks, key=["WRONG", "doubt"].index)
    assert marks.count("WRONG") >= 3
    cures = [line for line in end if line.startswith("         -> ")]
    assert len(cures) == len(marks)
    assert all(len(cure) > 20 for cure in cures)
    assert end[-1].startswith("NOT fit to run: ")
    assert "/dev/video99" in told


def test_clear_beams_that_trip_are_well(
    gutter: Callable[[str], Path], pins: Controller, capsys: pytest.CaptureFixture[str]
) -> None:
    status, table = as_json(capsys, gutter(PINS))
    assert (status, wrong(table)) == (0, [])
    assert {"gate A", "gate B", "gate reader"} <= {one["part"] for one in table["findings"]}


def test_a_blocked_beam_or_a_wrong_polarity_is_wrong(
    gutter: Callable[[str], Path], pins: Controller, capsys: pytest.CaptureFixture[str]
) -> None:
    pins.drive(A, False)
    status, table = as_json(capsys, gutter(PINS))
    assert status == 2
    assert {line.partition(":")[0] for line in wrong(table)} == {"gate A"}
    pins.drive(A, True)
    _, turned = as_json(capsys, gutter(PINS.replace('"low"', '"high"')))
    assert {line.partition(":")[0] for line in wrong(turned)} == {"gate A", "gate B"}
    assert any("blocked_is" in one["cure"] for one in turned["findings"])


def test_a_pin_in_use_is_wrong(
    gutter: Callable[[str], Path], pins: Controller, capsys: pytest.CaptureFixture[str]
) -> None:
    from logger.drivers import open_driver

    taken = open_driver("gpio_gates", {"pins": {"C": B}, "blocked_is": "low"})
    with taken:
        status, table = as_json(capsys, gutter(PINS))
    (line,) = wrong(table)
    assert (status, line.startswith("gates: "), "27" in line) == (2, True, True)
    status, table = as_json(capsys, gutter(PINS))
    assert wrong(table) == [], "and free again afterwards"


@pytest.mark.parametrize(
    ("driver", "words"),
    [
        ('kind = "gpio_gates"\npins = { A = 17, B = 27 }\nblocked_is = "low"\nchip = "no-such-chip"\n', "no-such-chip"),
        ('kind = "serial_gates"\nport = "/dev/ttyNO"\ngates = { A = 0, B = 1 }\n', "/dev/ttyNO"),
        ('kind = "gpio_gate"\n', 'did you mean "gpio_gates"?'),
        ('kind = "gpio_gates"\npinz = { A = 17 }\nblocked_is = "low"\n', "pinz: unknown name"),
        ('kind = "recorded_gates"\nfolder = "no/where"\n', "no/where"),
    ],
)
def test_gates_that_cannot_be_opened_are_wrong_with_the_drivers_own_words(
    gutter: Callable[[str], Path], capsys: pytest.CaptureFixture[str], driver: str, words: str
) -> None:
    status, table = as_json(capsys, gutter(driver))
    bad = [one for one in table["findings"] if one["health"] == "wrong"]
    assert (status, {one["part"] for one in bad}) == (2, {"gates"})
    assert any(words in one["found"] + one["cure"] for one in bad)
    assert all(one["cure"] for one in bad)


def test_all_mistakes_of_a_rig_file_come_at_once(
    gutter: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    path = gutter(PINS)
    path.write_text(path.read_text().replace("85", '"deep"').replace('line = "finish"', 'line = "end"'))
    status, table = as_json(capsys, path)
    assert status == 2
    assert any("water_depth_mm" in line for line in wrong(table))


def test_passing_the_beams_of_a_simulated_run_answers_for_each_gate(
    simulated: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = simulated.read_text(encoding="utf-8").replace(
        'run_kind = "straight"', 'run_kind = "straight"\npace = "fast"'
    )
    path = tmp_path / "rig.toml"
    path.write_text(text[: text.index("[camera]")], encoding="utf-8")
    status = main(["check", str(path), "--beams", "--json"])
    said = capsys.readouterr()
    gates = {one["part"]: one["found"] for one in json.loads(said.out)["findings"] if one["part"].endswith("-gate")}
    assert gates["gate start-gate"].startswith("trips and clears")
    assert set(gates) == {"gate start-gate", "gate finish-gate"}
    assert said.err.startswith("Pass a hand or a straw through each beam, in this order: start-gate, finish-gate")
    assert status in (0, 2)


def test_a_rig_file_that_is_not_there_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / "rig.toml")]) == 2
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert "there is no such file" in said.err


@pytest.mark.parametrize("wait", ["0", "-1", "nan", "soon", "1e9"])
def test_an_odd_wait_is_refused(wait: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["check", "rig.toml", "--wait-s", wait])
    assert "wanted seconds, above 0" in capsys.readouterr().err
