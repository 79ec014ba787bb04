"""The self-test of a webcam says in plain words what is not fit for a run, and the cure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import pytest

from logger.drivers.interface import Finding, SelfTesting
from logger.drivers.v4l2_camera import V4l2Camera
from logger.drivers.v4l2_check import Sample, _stamps
from logger.drivers.v4l2_ioctl import Facts
from logger.drivers.v4l2_settings import V4l2Options
from tests.logger.drivers.fake_capture import HEIGHT, MS, WIDTH, S, Webcam


def checked(monkeypatch: pytest.MonkeyPatch, webcam: Webcam, folder: Path, **asked: Any) -> dict[str, Finding]:
    webcam.open_by(monkeypatch)
    (folder / "video0").touch()
    options = V4l2Options(device=str(folder / "video0"), width_px=WIDTH, height_px=HEIGHT, **asked)
    with V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait) as camera:
        assert isinstance(camera, SelfTesting)
        before_ns = webcam.bench.clock()
        findings = camera.self_test()
    assert webcam.bench.clock() - before_ns <= 2 * S
    assert all(bool(finding.cure) == (finding.health != "well") for finding in findings)
    return {finding.part.removeprefix("cam: "): finding for finding in findings}


def health(findings: dict[str, Finding]) -> dict[str, str]:
    return {part: finding.health for part, finding in findings.items()}


WELL = dict.fromkeys(("settings", "exposure", "pictures", "rate", "stamps"), "well")


def test_a_good_camera_is_well(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(), tmp_path, exposure_us=5000, gain=12)
    assert health(found) == WELL
    assert found["settings"].found.endswith(": 64 x 48 MJPG, 30 a second, as asked")
    assert found["exposure"].found == "fixed at 5000 µs, gain 12"
    assert found["rate"].found == "30.00 pictures a second by their stamps, 30 promised"
    assert found["pictures"].found.endswith(" whole ones, none missing between them")
    assert "pictures were 12 to 12 ms old" in found["stamps"].found


def test_it_is_well_too_after_a_long_wait_with_old_pictures_in_the_queue(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    webcam = Webcam().open_by(monkeypatch)
    (tmp_path / "video0").touch()
    options = V4l2Options(str(tmp_path / "video0"), WIDTH, HEIGHT, exposure_us=5000)
    with V4l2Camera(options, name="cam", clock=webcam.bench.clock, wait=webcam.bench.wait) as camera:
        for _ in range(2):
            assert {finding.health for finding in camera.self_test()} == {"well"}
            webcam.bench.wait(30.0)


def test_an_exposure_that_the_camera_chooses_is_doubtful(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(), tmp_path)
    assert health(found) == WELL | {"exposure": "doubtful"}
    assert "exposure_us" in found["exposure"].cure


def test_a_rate_that_is_only_nearly_granted_is_doubtful(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(rates_hz=(29.0,), period_ns=S // 29), tmp_path, exposure_us=5000)
    assert health(found) == WELL | {"rate asked": "doubtful"}
    assert found["rate asked"].found == "30 a second asked, 29 granted"
    assert "rate_hz = 29" in found["rate asked"].cure


def test_a_rate_that_is_promised_and_not_kept_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(period_ns=S // 15), tmp_path, exposure_us=5000)
    assert health(found) == WELL | {"rate": "wrong"}
    assert found["rate"].found == "15.00 pictures a second by their stamps, 30 promised"
    assert "light" in found["rate"].cure


def test_a_rate_that_is_not_told_is_measured_all_the_same(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(tells_rate=False), tmp_path, exposure_us=5000)
    assert health(found) == WELL | {"rate asked": "doubtful"}


def test_torn_and_lost_pictures_are_counted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    torn = checked(monkeypatch, Webcam(torn=lambda k: k % 5 == 0), tmp_path, exposure_us=5000)
    assert torn["pictures"].health == "wrong"
    assert torn["pictures"].found.startswith(("5 of", "6 of", "7 of"))
    lost = checked(monkeypatch, Webcam(lost=lambda k: k % 10 == 0), tmp_path, exposure_us=5000)
    assert health(lost) == WELL | {"pictures": "doubtful"}
    assert any(f" {count} missing" in lost["pictures"].found for count in (2, 3))
    assert lost["rate"].found.startswith("30.00 ")


@pytest.mark.parametrize("webcam", [Webcam(sends=False), Webcam(can_begin=False)], ids=["mute", "stuck"])
def test_no_pictures_are_wrong_within_two_seconds(
    webcam: Webcam, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    found = checked(monkeypatch, webcam, tmp_path, exposure_us=5000)
    assert found["pictures"].health == "wrong"
    assert "hub" in found["pictures"].cure
    assert "stamps" not in found


@pytest.mark.parametrize("shift_s", [1_790_000_000.0, 3600.0, -3600.0])
def test_stamps_of_another_clock_are_wrong(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, shift_s: float) -> None:
    webcam = Webcam(stamp=lambda start: start + round(shift_s * S))
    found = checked(monkeypatch, webcam, tmp_path, exposure_us=5000)
    assert health(found) == WELL | {"stamps": "wrong"}
    assert "another clock" in found["stamps"].found


def test_no_stamps_at_all_are_wrong(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(stamp=lambda _: 0), tmp_path, exposure_us=5000)
    assert found["stamps"].health == "wrong"


def test_stamping_by_arrival_is_doubtful(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    found = checked(monkeypatch, Webcam(), tmp_path, exposure_us=5000, stamps="arrival")
    assert health(found) == WELL | {"stamps": "doubtful"}


def test_what_the_driver_says_of_its_stamps_is_handed_on() -> None:
    sample = Sample((S, S + 33 * MS, S + 66 * MS), (9 * MS, 12 * MS, 10 * MS), 0)
    [said] = _stamps(sample, Facts(clock="monotonic", moment="start"), V4l2Options(), "cam")
    assert said.found == (
        "of this computer's clock (the driver says so too); pictures were 9 to 12 ms old, stamped at their start"
    )
    [back] = _stamps(Sample((S, S, S), (1, 1, 1), 0), Facts(), V4l2Options(), "cam")
    assert back.health == "wrong"


def test_a_camera_that_goes_during_the_test_is_wrong(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    webcam = Webcam()
    webcam.away_ns = [(webcam.bench.clock() + S // 2, 2**62)]
    found = checked(monkeypatch, webcam, tmp_path, exposure_us=5000)
    assert found["pictures"].found == "the camera does not answer"
    assert cv2.CAP_V4L2 == 200
