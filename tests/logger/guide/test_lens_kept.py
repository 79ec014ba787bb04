from __future__ import annotations

import tomllib
from datetime import datetime
from pathlib import Path

import numpy as np

from calibration.files import load_lens
from calibration.lens_views import Quality
from calibration.targets import LENS_BOARD
from logger.guide import lens_found, lens_kept
from logger.guide.lens_gather import Material
from logger.recording.lens_evidence import read_corners
from tests.calibration.board_views import USUAL, shown
from tests.logger.recording.conftest import FORMATS

AT = datetime.fromisoformat("2026-05-04T10:15:00+02:00")


def test_lens_and_evidence_come_back(tmp_path: Path) -> None:
    views = shown(USUAL, np.random.default_rng(3), count=9)
    picture = np.zeros((8, 8), np.uint8)
    material = Material(
        "a test",
        views,
        qualities={"view 1": Quality(2.345, 40.0, 0.0, 150.0)},
        left_out={"blur.jpg": "blurred"},
        digests={"view 2": "ab" * 32},
        pictures=(("view 3", picture), ("not taken", picture)),
    )
    found = lens_found.found(material, LENS_BOARD, ("mind the step",), for_size=None, place="here")
    folder = lens_kept.kept(tmp_path / "lens", found, LENS_BOARD, material, at=AT, ruler_mm=99.8)
    lens, covariance = load_lens(folder / "lens.toml")
    assert lens == found.lens
    np.testing.assert_allclose(covariance, found.covariance, rtol=1e-9, atol=1e-30)
    told = tomllib.loads((folder / "lens.toml").read_text())
    assert told["id"] == folder.name == "lens-2026-05-04T101500"
    assert told["date"] == "2026-05-04T10:15:00+02:00"
    assert "mind the step" in told["notes"]
    evidence = told["evidence"]
    section = FORMATS.read_text(encoding="utf-8").partition("## Evidence of a lens calibration")[2].partition("###")[0]
    assert [name for name in evidence if f"`{name}`" not in section] == []
    assert evidence["ruler_mm"] == 99.8
    assert evidence["left_out"] == {"blur.jpg": "blurred"}
    assert evidence["views"][0]["edge_px"] == 2.35 or evidence["views"][0]["edge_px"] == 2.34
    assert evidence["views"][1]["sha256"] == "ab" * 32
    assert all(0 < view["rms_px"] < 0.5 for view in evidence["views"])
    again = read_corners(folder)
    assert list(again) == list(views)
    assert [path.name for path in (folder / "views").iterdir()] == ["view-3.png"]
    assert "<svg" in (folder / "coverage.svg").read_text()
    table = np.genfromtxt(folder / "corners.csv", delimiter=",", skip_header=1, usecols=(7, 8))
    assert np.sqrt(2 * np.mean(table**2)) < 0.35
