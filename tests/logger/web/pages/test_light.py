from __future__ import annotations

import pytest

from logger.recording.rig_toml import read_rig
from logger.web.pages import light
from tests.logger.cli.test_calibrate_light import RIG as LIGHT_RIG
from tests.logger.web.conftest import Desk


def test_a_rig_without_a_light_says_so(desk: Desk) -> None:
    assert "names no camera driver, or no light" in desk.get("/light")
    assert "no [light_driver]" in desk.post("/light", {}, status=422).text


def test_a_simulated_light_is_watched_and_its_delay_entered(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(light, "_LENGTH_S", 10.0)
    desk.rig_file.write_text(LIGHT_RIG.replace("of the command", "of the page"))
    assert "at most three times a second" in desk.get("/light")
    where = desk.worked(desk.post("/light", {}))
    assert where.startswith("/light/result/")
    assert "camera delay" in desk.get(where)
    assert desk.client.get("/draft/lightdrawn/light.svg").status_code == 200
    folder = where.rsplit("/", 1)[1]
    assert desk.post("/light/use", {"folder": "light-1/.."}, status=404, drawn_at=where)
    desk.post("/light/use", {"folder": folder}, drawn_at=where)
    camera = read_rig(desk.rig_file).camera
    assert camera is not None
    # truth: what the simulated camera was told
    assert camera.delay_s == pytest.approx(0.0617, abs=4 * camera.u_delay_s)
    assert 0 < camera.u_delay_s < 0.01
