"""A run whose water or camera is not as it was calibrated says so, in mm and percent; any other says nothing."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import write_view
from calibration.waterplane import View
from logger.recording.folder import VIEW_FILE, load
from logger.recording.rig_toml import rig_from_table
from logger.results.measure import conclude
from logger.results.since_calibrated import changes, told
from tests.calibration.plane_picture import DEPTH_MM
from tests.calibration.test_level import VIEW, painted

RIG = rig_from_table(
    {
        "format": "boatrun-rig/1", "name": "basin", "simulated": True,
        "tank": {"length_mm": 1500, "width_mm": 500, "water_depth_mm": 100},
        "lines": [{"name": "start", "role": "start", "x_mm": 100}, {"name": "finish", "role": "finish", "x_mm": 1400}],
    },
    file="rig.toml",
)  # fmt: skip
RIG_TEXT = """format = "boatrun-rig/1"
name = "basin"
simulated = true
[tank]
length_mm = 1500
width_mm = 500
water_depth_mm = 100
[[lines]]
name = "start"
role = "start"
x_mm = 100
[[lines]]
name = "finish"
role = "finish"
x_mm = 1400
[camera]
calibration = "camera.toml"
"""


def recorded(folder: Path, depth_mm: float) -> Path:
    """A film of the tank at rest, a second long, with the view that was kept at 100 mm."""
    folder.mkdir()
    (folder / "recording.toml").write_text(
        'format = "boatrun-recording/1"\nid = "a"\nkind = "straight"\nrecorded_at = 2026-05-04T10:15:00+02:00\n'
        '[boat]\nname = "none"\n'
    )
    (folder / "rig.toml").write_text(RIG_TEXT)
    write_view(folder / "camera.toml", VIEW)
    data = cv2.imencode(".jpg", painted(depth_mm, 7, 1.1, slat=True), (cv2.IMWRITE_JPEG_QUALITY, 92))[1].tobytes()
    (folder / "video.mjpeg").write_bytes(data * 30)
    (folder / "frames.csv").write_text("frame,t_ns\n" + "".join(f"{n},{10**9 + n * 33_000_000}\n" for n in range(30)))
    cv2.imwrite(str(folder / VIEW_FILE), painted(DEPTH_MM))
    return folder


def test_ten_mm_less_water_is_a_flag_of_the_trial_in_percent_and_mm(tmp_path: Path) -> None:
    recording = load(recorded(tmp_path / "low", 90.0))
    trial = conclude(recording, recording.rig, None).trial
    (flag,) = [words for words in trial.flags if "water" in words]
    assert flag.startswith("the water stood ")
    assert "mm lower than when it was calibrated (95 %): lengths are 0.7" in flag
    assert "% too short, places up to 5." in flag


def test_without_a_kept_view_nothing_is_compared(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "low", 90.0)
    (folder / VIEW_FILE).unlink()
    recording = load(folder)
    assert recording.kept_picture() is None
    assert told(recording, recording.rig) == []


def test_a_kept_view_of_another_size_is_told(tmp_path: Path) -> None:
    folder = recorded(tmp_path / "low", 90.0)
    cv2.imwrite(str(folder / VIEW_FILE), np.zeros((10, 20), np.uint8))
    recording = load(folder)
    assert told(recording, recording.rig) == ["the kept view is 20 x 10 pixels and cannot be compared with this film"]


def test_nothing_changed_is_nothing_said() -> None:
    assert changes(VIEW, painted(DEPTH_MM), painted(DEPTH_MM, 9), RIG) == []


def test_a_camera_that_was_knocked_since_is_told() -> None:
    (words,) = changes(VIEW, painted(DEPTH_MM), np.roll(painted(DEPTH_MM, 9), (2, 5), (0, 1)), RIG)
    assert words.startswith("the camera has moved since it was calibrated, by ")
    assert words.endswith("mm on the water (95 %); calibrate the plane again")


@pytest.mark.parametrize(("u_height_mm", "is_told"), [(1.0, True), (12.0, False)])
def test_what_the_calibration_leaves_open_is_no_change(u_height_mm: float, is_told: bool) -> None:
    """10 mm of water beside a plane that is itself only known to 12 mm."""
    doubt = {"camera height": (VIEW.lens, VIEW.pose.moved([0, 0, 0], [0, 0, u_height_mm]))}
    said = changes(View(VIEW.lens, VIEW.pose, doubt), painted(DEPTH_MM), painted(90.0, 7, 1.1, slat=True), RIG)
    assert bool(said) == is_told
