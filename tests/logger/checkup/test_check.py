from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.files import write_view
from calibration.waterplane import View
from logger.checkup.check import Wanted, check
from logger.checkup.machine import Machine
from logger.drivers.interface import Finding
from logger.errors import ConfigError, DriverError, InputError
from logger.records import Fault, Quiet
from tests.calibration.tank_picture import LENS, POSE, VIEW, Scene, picture
from tests.logger.checkup.fake_devices import FakeDevice, FakeLight, FakeScale, edges, opener, pictures
from tests.logger.checkup.rig_text import RIG, TWO_GATES

GATES = TWO_GATES + '[gates_driver]\nkind = "gates"\n'
CAMERA = """\
[camera]
calibration = "camera.toml"
delay_s = 0.004
u_delay_s = 0.001
[camera.driver]
kind = "camera"
"""
OTHERS = '[panel_driver]\nkind = "panel"\n[light_driver]\nkind = "light"\n[scale_driver]\nkind = "scale"\n'
COMPUTER = Machine(
    root=Path("/nowhere"), vcgencmd=None, wall=lambda: datetime(2026, 11, 25, tzinfo=UTC), is_clock_led=lambda: True,
    asleep_ns=lambda: 0, load=lambda: 0.1, processors_count=2, is_64_bit=True,
)  # fmt: skip
TANK = picture(POSE, Scene(seed=1))
KNOCKED = POSE.moved([0.004, 0.0, 0.0], [0.0, 0.0, 0.0])
HAND = (("A", True, 0.1), ("A", False, 0.3), ("B", True, 2.0), ("B", False, 2.2))


def camera(image: np.ndarray = TANK, **how: Any) -> FakeDevice:
    return FakeDevice(pictures(image, **how))


@pytest.fixture
def rig(tmp_path: Path) -> Callable[..., Path]:
    """Writes a rig file, and a calibration of the tank's pictures beside it."""

    def make(*tables: str, calibrated: bool = True) -> Path:
        path = tmp_path / "rig.toml"
        path.write_text(RIG + "".join(tables), encoding="utf-8")
        if calibrated and not (tmp_path / "camera.toml").exists():
            doubt = {"camera height": (LENS, POSE.moved([0, 0, 0], [0, 0, 2.0]))}
            write_view(tmp_path / "camera.toml", View(LENS, POSE, doubt), calibration_id="bench", date="2026-11-20")
        return path

    return make


def checked(
    path: Path, *, computer: Machine = COMPUTER, say: Any = lambda _: None, asked: Any = None, **devices: Any
) -> list[Finding]:
    return list(check(Wanted(path, **(asked or {})), computer=computer, say=say, opener=opener(**devices)))


def bad(findings: list[Finding]) -> dict[str, str]:
    """Part -> health of what is not well; how the disk of this machine does is not ours to say."""
    return {one.part: one.health for one in findings if one.health != "well" and one.part != "disk"}


def test_a_whole_good_rig_is_well_and_everything_is_closed_again(rig: Callable[..., Path]) -> None:
    devices = {
        "gates": FakeDevice(edges()), "camera": camera(), "panel": FakeDevice(), "light": FakeLight(),
        "scale": FakeScale(is_steady=True),
    }  # fmt: skip
    path = rig(GATES, CAMERA, OTHERS)
    checked(path, asked={"keep_view": True}, **devices)
    findings = checked(path, **devices)
    assert bad(findings) == {}
    assert all(finding.found for finding in findings)
    assert [device.times_opened for device in devices.values()] == [2] * 5
    assert not any(device.is_open for device in devices.values())
    assert devices["light"].switched == [True, False] * 2
    parts = list(dict.fromkeys(finding.part.partition(":")[0] for finding in findings))
    assert parts == [
        "lines", "camera delay", "calibration", "gates", "camera", "camera's place", "water level", "panel", "light",
        "scale", "disk", "computer",
    ]  # fmt: skip


def test_every_fault_has_a_cure(rig: Callable[..., Path]) -> None:
    findings = checked(
        rig(GATES, CAMERA, OTHERS), gates=FakeDevice(opens=DriverError("x: y; z")), camera=FakeDevice(lambda _: []),
        panel=FakeDevice(lambda _: []), light=FakeLight(ahead_ns=10**15), scale=FakeScale(is_steady=False),
        computer=Machine(root=Path("/nowhere"), wall=lambda: datetime(1970, 1, 1, tzinfo=UTC), load=lambda: 99.0),
    )  # fmt: skip
    assert len(bad(findings)) >= 7
    assert [finding.part for finding in findings if finding.health != "well" and not finding.cure] == []


def test_only_what_the_rig_file_names_is_opened(rig: Callable[..., Path]) -> None:
    """The opener knows no other device: asking for one would be a KeyError."""
    gates = FakeDevice(edges())
    assert bad(checked(rig(GATES), gates=gates)) == {}
    assert gates.times_opened == 1


def test_all_mistakes_of_the_rig_file_are_findings_and_nothing_is_opened(rig: Callable[..., Path]) -> None:
    path = rig(GATES.replace('line = "finish"', 'line = "finsh"'), 'colour = "red"\n[camera]\ndelay_s = "long"\n')
    findings = [finding for finding in checked(path) if finding.part == "rig file"]
    assert {finding.health for finding in findings} == {"wrong"}
    assert len(findings) >= 2
    assert any('delay_s: found "long"' in finding.found for finding in findings)
    assert any(finding.part == "disk" for finding in checked(path)), "the computer is looked at all the same"


def test_a_rig_file_that_is_no_toml_is_a_finding_and_one_that_is_not_there_an_error(
    rig: Callable[..., Path], tmp_path: Path
) -> None:
    path = rig("[[[")
    assert bad(checked(path)) == {"rig file": "wrong"}
    with pytest.raises(InputError, match="there is no such file"):
        checked(tmp_path / "rgi.toml")


def test_a_calibration_that_is_missing_or_wrong_is_told(rig: Callable[..., Path], tmp_path: Path) -> None:
    assert bad(checked(rig(CAMERA, calibrated=False), camera=camera())) == {"calibration": "wrong"}
    (tmp_path / "camera.toml").write_text('format = "boatrun-camera/1"\n[lens]\nwidth_px = "wide"\n')
    wrong = [f for f in checked(rig(CAMERA), camera=camera()) if f.part == "calibration"]
    assert len(wrong) > 3
    assert all("camera.toml" in finding.found + finding.cure for finding in wrong)


@pytest.mark.parametrize(
    ("device", "found"),
    [
        (FakeDevice(opens=DriverError("gates: pin 17: found it in use by x; a free pin is wanted; end x")), "in use"),
        (DriverError('driver "gates": cannot be loaded; pip install gpiod'), "cannot be loaded"),
        (InputError('rig.toml: kind: found "gates", wanted one of ...'), "kind"),
        (ConfigError("rig.toml", ["pins.A: found 99, wanted 0 to 27"]), "found 99"),
        (FakeDevice(lambda now_ns: [Fault(now_ns, "gates", "unplugged", "plug it in", lasting=True)]), "unplugged"),
        (FakeDevice(lambda now_ns: [1 / 0]), "ZeroDivisionError"),
        (FakeDevice(lambda _: []), "says nothing"),
    ],
)
def test_gates_that_cannot_be_read_are_wrong_and_the_rest_is_checked(
    rig: Callable[..., Path], device: Any, found: str
) -> None:
    findings = checked(
        rig(GATES, OTHERS), gates=device, panel=FakeDevice(), light=FakeLight(), scale=FakeScale(is_steady=True)
    )
    wrong = [finding for finding in findings if finding.health == "wrong"]
    assert [finding.part for finding in wrong] == ["gates"]
    assert found in wrong[0].found
    assert "scale" in {finding.part for finding in findings}


def test_a_device_that_hangs_does_not_hang_the_check(rig: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.checkup.check.OTHER_S", 0.1)
    panel = FakeDevice(hangs=True)
    panel.freed.clear()
    released = threading.Timer(1.0, panel.freed.set)
    released.start()
    findings = checked(
        rig(GATES, OTHERS), gates=FakeDevice(edges()), panel=panel, light=FakeLight(), scale=FakeScale(is_steady=True)
    )
    assert bad(findings) == {"panel": "wrong"}
    released.join()
    assert not panel.is_open


def test_a_blocked_beam_is_wrong_whatever_its_driver_makes_of_it(rig: Callable[..., Path]) -> None:
    own = [Finding("gate A", "doubtful", "the beam is broken", "clear it"), Finding("gate B", "well", "clear")]
    gates = FakeDevice(edges(("A", True, 0.0)), finds=own)
    told = [(f.part, f.health, f.found) for f in checked(rig(GATES), gates=gates) if f.part.startswith("gate ")]
    assert told == [("gate A", "wrong", "the beam is broken now"), ("gate B", "well", "clear")]


def test_a_flickering_beam_is_wrong(rig: Callable[..., Path]) -> None:
    flicker = [("B", n % 2 == 0, 0.05 * n) for n in range(6)]
    assert bad(checked(rig(GATES), gates=FakeDevice(edges(*flicker)))) == {"gate B": "wrong"}


def test_passing_each_beam_is_asked_for_and_told(rig: Callable[..., Path]) -> None:
    said: list[str] = []
    unproven = [
        Finding("gate A", "doubtful", "never seen broken", "pass a hand"),
        Finding("gate reader", "well", "ours"),
    ]
    gates = FakeDevice(edges(*HAND), finds=unproven)
    findings = checked(rig(GATES), asked={"beams": True}, say=said.append, gates=gates)
    assert bad(findings) == {}
    assert said[0] == "Pass a hand or a straw through each beam, in this order: A, B (60 s at most)"
    assert said[1:] == ["gate A: trips and clears (2 edges)", "gate B: trips and clears (2 edges)"]
    dead = checked(rig(GATES), asked={"beams": True}, gates=FakeDevice(edges(*HAND[:2])))
    assert bad(dead) == {"gate B": "wrong"}


def test_a_beam_that_was_blocked_at_first_and_then_proven_is_well(rig: Callable[..., Path]) -> None:
    class Blocked(FakeDevice):
        """Says that its beam was never seen clear, until it was."""

        heard = False

        def records(self, stop: Any) -> Any:
            self.heard = True
            yield from super().records(stop)

        def self_test(self) -> list[Finding]:
            if self.heard:
                return [Finding("gate A", "well", "clear, and seen both ways")]
            return [Finding("gate A", "wrong", "the beam is broken and was never seen clear", "clear it")]

    gates = Blocked(edges(("A", True, 0.0), ("A", False, 0.5), *HAND[2:]))
    assert bad(checked(rig(GATES), asked={"beams": True}, gates=gates)) == {}


def test_a_picture_of_another_size_is_wrong_and_not_compared(rig: Callable[..., Path]) -> None:
    findings = checked(rig(CAMERA), camera=camera(TANK[:200]))
    assert bad(findings) == {"camera: size": "wrong"}


def test_the_drivers_own_words_on_rate_and_exposure_stand_for_ours(rig: Callable[..., Path]) -> None:
    own = [Finding("camera: rate", "doubtful", "24 pictures a second", "more light")]
    findings = checked(rig(CAMERA), camera=FakeDevice(pictures(TANK, rate_hz=24.0), finds=own))
    assert [f.found for f in findings if f.part == "camera: rate"] == ["24 pictures a second"]


def test_a_view_is_kept_once_and_a_knock_is_found_and_not_overwritten(rig: Callable[..., Path], tmp_path: Path) -> None:
    path = rig(CAMERA)
    assert bad(checked(path, camera=camera())) == {"camera's place": "doubtful"}
    assert bad(checked(path, asked={"keep_view": True}, camera=camera())) == {}
    (view,) = tmp_path.glob("camera-view-*-2026-11-25.png")
    before = hashlib.sha256(view.read_bytes()).digest()
    assert bad(checked(path, camera=camera(picture(POSE, Scene(seed=2))))) == {}
    knocked = checked(path, asked={"keep_view": True}, camera=camera(picture(KNOCKED, Scene(seed=3))))
    places = [(f.health, f.found) for f in knocked if f.part == "camera's place"]
    assert [health for health, _ in places] == ["wrong", "doubtful"]
    assert places[0][1].startswith("the camera has moved by 4.")
    assert list(tmp_path.glob("*.png")) == [view]
    assert hashlib.sha256(view.read_bytes()).digest() == before
    checked(path, asked={"keep_view": True}, camera=camera(picture(POSE, Scene(seed=4))))
    assert len(list(tmp_path.glob("*.png"))) == 2


def test_stamps_of_another_clock_are_wrong(rig: Callable[..., Path]) -> None:
    gates = FakeDevice(lambda _: [Quiet(1_764_000_000_000_000_000, "gates")])
    assert bad(checked(rig(GATES), gates=gates)) == {"gates": "wrong"}
    light = FakeLight(ahead_ns=10**12)
    findings = checked(
        rig(GATES, OTHERS), gates=FakeDevice(edges()), light=light, panel=FakeDevice(), scale=FakeScale(is_steady=True)
    )
    assert bad(findings) == {"light": "wrong"}


def test_the_disk_is_measured_by_the_cameras_own_pictures(rig: Callable[..., Path], tmp_path: Path) -> None:
    (tmp_path / "runs").mkdir()
    asked = {"recordings": tmp_path / "runs"}
    disk = [f.found for f in checked(rig(CAMERA), asked=asked, camera=camera(jpeg=b"x" * 100_000)) if f.part == "disk"]
    assert "3.0 MB/s" in disk[0]
    gates = [f.found for f in checked(rig(GATES), asked=asked, gates=FakeDevice(edges())) if f.part == "disk"]
    assert "5 kB/s" in gates[0]
    missing = {"recordings": tmp_path / "no"}
    told = [f for f in checked(rig(GATES), asked=missing, gates=FakeDevice(edges())) if f.part == "disk"]
    assert [finding.health for finding in told] == ["wrong"]


def test_the_calibrations_view_is_read_from_its_file(rig: Callable[..., Path]) -> None:
    """The places' doubt comes from the file: a camera 2 mm higher, 500 mm out under 1000 mm, is 0.85 mm at 427 mm."""
    told = [f.found for f in checked(rig(CAMERA), camera=camera()) if "good to" in f.found]
    worst = 1.96 * np.hypot(300, 250) * 2.0 / VIEW.pose.camera_mm[2]
    assert told[0].startswith(f"places on the lines are good to ± {worst:.1f} mm")
