"""What the pages do with the rig's own camera: the lens live, the blinking light, the plane's pictures, to the end.

The camera is a real driver that replays painted pictures at their own pace (a board that is shown from side to side,
the tank with its marks), or the simulated blinking light with its camera. Pages, threads and clocks are those of a
real rig.
With BOATRUN_SHOTS=FOLDER pictures of every page are kept there, to be looked at by a person.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from calibration.files import load_calibration, load_lens
from calibration.lens import LENS_PARAMETERS
from logger.recording.rig_toml import read_rig
from tests.browser.person import Person, served
from tests.browser.test_calibration_pages import GATES, kept_shot, off_in_truth_mm, off_mm, placed_lines
from tests.calibration.board_views import painted_at, places
from tests.calibration.plane_picture import LENS, RIM_MARKS
from tests.logger.cli.test_calibrate_plane import RIG
from tests.logger.recording.conftest import write_example
from tests.logger.station.test_plane_session import still

pytestmark = pytest.mark.browser
VIEWS_COUNT, EACH_S = 18, 1.5
DELAY_S = 0.0617
LIGHT = f"""
[camera.driver]
kind = "simulated_blinking_camera"
tub = "of the pages"
delay_s = {DELAY_S}

[light_driver]
kind = "simulated_light"
tub = "of the pages"
"""


def film(folder: Path, pictures: list[np.ndarray], *, each_s: float) -> Path:
    """A recording in which every picture is seen for a while."""
    recording = write_example(folder, camera=True)
    data = [cv2.imencode(".jpg", one, (cv2.IMWRITE_JPEG_QUALITY, 95))[1].tobytes() for one in pictures]
    (recording / "video.mjpeg").write_bytes(b"".join(data))
    stamps = "".join(f"{n},{4_800_000_000 + round(1e9 * each_s) * n}\n" for n in range(len(pictures)))
    (recording / "frames.csv").write_text("frame,t_ns\n" + stamps)
    return recording


def replayed(recording: Path) -> str:
    return f'\n[camera.driver]\nkind = "recorded_camera"\nfolder = "{recording}"\npace = "real_time"\n'


@dataclass
class Live:
    """A rig, its pages, and what its camera may see."""

    file: Path
    address: str
    shown: Path
    rim: Path

    def sees(self, driver: str) -> None:
        """From now on the rig's camera is this one; all else in the rig file stays."""
        text = re.sub(r"\n\[(camera\.driver|light_driver)\][^\[]*", "\n", self.file.read_text())
        self.file.write_text(text.rstrip() + "\n" + driver)


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    folder = tmp_path_factory.mktemp("live")
    (folder / "rig.toml").write_text(RIG.replace("\n[camera]", f"{GATES}\n[camera]"), encoding="utf-8")
    held = zip(range(VIEWS_COUNT), places(LENS, np.random.default_rng(5), away_mm=(230.0, 420.0)), strict=False)
    board = [painted_at(LENS, place, seed=index) for index, place in held]
    shown = film(folder / "shown", board, each_s=EACH_S)
    rim = film(folder / "rim", [still("rim").grey] * 8, each_s=0.4)
    with served(folder / "rig.toml") as address:
        yield Live(folder / "rig.toml", address, shown, rim)


def test_a_technician_calibrates_with_the_rigs_own_camera_from_the_lens_to_the_delay(live: Live, page: Any) -> None:
    lens_live(live, page)
    plane_from_the_camera(live, page)
    placed_lines(Person(page))
    light_watched(live, page)
    assert [words for words in page.complaints if words] == []
    page.goto(f"{live.address}/rig")
    kept_shot(page, "live_rig")


def lens_live(live: Live, page: Any) -> None:
    live.sees(replayed(live.shown))
    person = Person(page)
    page.goto(f"{live.address}/lens")
    person.type("ruler_mm", "100")
    kept_shot(page, "live_lens_begun")
    person.click("text=With the rig's camera, live")
    drawing = page.locator("[data-drawing]")
    drawing.wait_for(state="visible", timeout=60_000)
    page.locator("[data-last]", has_text=re.compile(r"^[5-9] views;")).wait_for(timeout=60_000)
    kept_shot(page, "live_lens")
    assert page.locator("[data-news] li").count() >= 3, "what was said stays to be read"
    person.wait_for("/lens/result/")
    kept_shot(page, "live_lens_result")
    (folder,) = (live.file.parent / "lens").iterdir()
    found, covariance = load_lens(folder / "lens.toml")
    for index, name in enumerate(LENS_PARAMETERS[:4]):
        assert abs(getattr(found, name) - getattr(LENS, name)) < 4 * np.sqrt(covariance[index, index]), name
    print(f"\nlens, live: {person.told()}")
    assert person.minutes < 3.0


def light_watched(live: Live, page: Any) -> None:
    live.sees(LIGHT)
    person = Person(page)
    page.goto(f"{live.address}/light")
    kept_shot(page, "live_light_begun")
    person.click("text=Blink now")
    page.locator("[data-news] li").first.wait_for(timeout=30_000)
    assert not page.locator("[data-drawing]").is_visible(), "where nothing is drawn there is no empty frame"
    kept_shot(page, "live_light")
    person.wait_for("/light/result/")
    kept_shot(page, "live_light_result")
    person.click("text=Enter this delay")
    camera = read_rig(live.file).camera
    assert camera is not None
    assert camera.delay_s == pytest.approx(DELAY_S, abs=4 * camera.u_delay_s)
    assert 0 < camera.u_delay_s < 0.01
    assert page.locator("progress").get_attribute("value") == "4", page.locator("main").inner_text()
    print(f"light: {person.told()}")


def plane_from_the_camera(live: Live, page: Any) -> None:
    live.sees(replayed(live.rim))
    person = Person(page)
    page.goto(f"{live.address}/plane?way=rim")
    person.type("marks", "\n".join(f"{number},{x:g},{y:g},45" for number, (x, y) in RIM_MARKS.items()))
    person.type("u_mark", "0.5")
    kept_shot(page, "live_plane_begun")
    person.click("text=Take it now")
    page.locator("img.look, img.seen, .look").first.wait_for(timeout=60_000)
    kept_shot(page, "live_plane")
    person.click("button.look-here")
    person.wait_for("/plane/result/")
    kept_shot(page, "live_plane_result")
    person.click("text=Use this plane")
    (folder,) = (live.file.parent / "plane").iterdir()
    calibration = load_calibration(folder / "camera.toml")
    off = off_in_truth_mm(calibration.view)
    print(
        f"plane: {person.told()}; worst place off by {off:.2f} mm in truth, {calibration.evidence['worst_mm']} stated"
    )
    assert off <= calibration.evidence["worst_mm"] <= 4.0
    assert off_mm(live.file) == pytest.approx(off)
