from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from calibration.files import write_lens
from calibration.floor import DepthReading
from logger.errors import InputError
from logger.guide.plane_kept import entered, entries_of, in_use, kept, lens_for
from logger.recording.rig_toml import read_rig
from logger.station.plane_session import work_out
from tests.calibration.plane_picture import LENS
from tests.logger.cli.test_calibrate_plane import RIG
from tests.logger.station.test_plane_session import LENS_COVARIANCE, by_floor, by_rim, still

AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    return tmp_path / "rig.toml"


def test_the_lens_comes_from_its_file_or_from_the_calibration_in_use(rig_file: Path) -> None:
    rig = read_rig(rig_file)
    with pytest.raises(InputError, match="there is no such calibration yet; wanted the lens's file"):
        lens_for(rig, rig_file, None)
    assert in_use(rig, rig_file) is None
    write_lens(rig_file.parent / "lens.toml", LENS, LENS_COVARIANCE)
    lens, covariance = lens_for(rig, rig_file, rig_file.parent / "lens.toml")
    assert lens.fx_px == pytest.approx(LENS.fx_px)
    entered(kept(work_out(by_rim()), rig_file.parent / "plane", at=AT, lens_file=""), rig_file)
    again = lens_for(read_rig(rig_file), rig_file, None)
    assert again[0].fx_px == pytest.approx(LENS.fx_px)
    assert again[1].trace() == pytest.approx(covariance.trace(), rel=0.01)
    assert in_use(read_rig(rig_file), rig_file) is not None


def test_what_is_entered_is_what_the_kept_folder_says(rig_file: Path) -> None:
    result = work_out(by_floor(dry=still("dry"), filled=still("filled"), readings=(DepthReading(99.0),)))
    folder = kept(result, rig_file.parent / "plane", at=AT, lens_file="")
    entries = entries_of(folder, rig_file)
    assert read_rig(rig_file).tank.water_depth_mm == 90.0
    assert entered(folder, rig_file) == entries
    rig = read_rig(rig_file)
    assert result.effect is not None
    assert rig.tank.water_depth_mm == pytest.approx(result.effect.depth_mm, abs=0.06)
    assert rig.tank.water_depth_mm == pytest.approx(100.0, abs=3)
    assert rig.camera is not None
    assert rig.camera.calibration == f"plane/{folder.name}/camera.toml"


def test_a_folder_without_a_calibration_is_refused(rig_file: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"camera\.toml"):
        entries_of(tmp_path / "empty", rig_file)
