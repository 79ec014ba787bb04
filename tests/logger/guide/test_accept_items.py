from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.files import load_calibration
from logger.checkup.acceptance import Item, items_of
from logger.checkup.machine import Machine
from logger.guide.accept_items import At, Did, NotDone, do
from logger.recording.light_evidence import LightEvidence, LightNotes, write_light
from logger.recording.rig_toml import read_rig
from tests.calibration.light_session import Session, play
from tests.logger import accept_rig

DELAY_S = 0.045


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    """With a camera, but no pulls."""
    return accept_rig.accept_rig(tmp_path / "rig", camera=True)


def at(path: Path, picture: Path | None = None) -> At:
    folder = path.parent / "evidence"
    folder.mkdir(exist_ok=True)
    return At(path, read_rig(path), folder, path.parent / "recordings", lambda _: None, Machine(), picture)


def done(path: Path, name: str, *typed: str, picture: Path | None = None) -> Did | NotDone:
    item: Item = next(item for item in items_of(read_rig(path)) if item.name == name)
    return do(item, at(path, picture), typed)


def passed(found: Did | NotDone) -> bool:
    assert isinstance(found, Did), found
    return found.judged.passed


def test_a_check_that_finds_nothing_wrong_passes_with_its_doubts_and_one_that_does_fails(tmp_path: Path) -> None:
    path = accept_rig.accept_rig(tmp_path / "rig", walks_through=True)
    found = done(path, "check")
    assert passed(found)
    assert isinstance(found, Did)
    assert re.match(r"\d+ things looked at: 0 wrong, \d+ in doubt", found.judged.found[0])
    path.write_text(path.read_text().replace("simulated = true\n", ""))
    bad = done(path, "check")
    assert not passed(bad)
    assert isinstance(bad, Did)
    assert any(said.startswith("wrong: rig file: ") for said in bad.judged.found)
    assert "simulated = true" in bad.judged.cure


# --- the camera's delay, from a session that was kept ---


@pytest.fixture
def lit(rig: Path) -> Path:
    """The rig file with a light session of a camera that is 45 ms late beside it."""
    switches, glimpses = play(Session(delay_s=DELAY_S))
    folder = rig.parent / "light" / "light-2026-11-26T100000"
    folder.mkdir(parents=True)
    notes = LightNotes("2026-11-26T10:00:00+00:00", 300.0, rig=read_rig(rig).name, simulated=True)
    write_light(folder, LightEvidence(notes, switches, glimpses))
    return folder


def entered(rig: Path, delay_s: float, u_s: float) -> None:
    text = re.sub(r"^delay_s = .*$", f"delay_s = {delay_s}", rig.read_text(), flags=re.MULTILINE)
    rig.write_text(re.sub(r"^u_delay_s = .*$", f"u_delay_s = {u_s}", text, flags=re.MULTILINE))


@pytest.mark.parametrize(
    ("delay_s", "u_s", "passes", "said"),
    [
        (DELAY_S, 0.0005, True, "within what both allow"),
        (DELAY_S + 0.02, 0.0005, False, "they do not agree"),
        (DELAY_S, 0.01, False, "± 5 ms allowed"),
        (0.0, 0.0, False, "does not say a measured one"),
    ],
)
def test_the_delay_of_the_rig_file_is_held_against_the_light(
    rig: Path, lit: Path, delay_s: float, u_s: float, passes: bool, said: str
) -> None:
    entered(rig, delay_s, u_s)
    found = done(rig, "light", str(lit))
    assert passed(found) is passes
    assert isinstance(found, Did)
    assert said in " ".join(found.judged.found)
    assert found.judged.found[0].startswith("the light says 45."), found.judged.found
    assert found.evidence == f"light/{lit.name}"


def test_a_session_of_another_rig_and_a_rig_without_light_are_no_verdict(rig: Path, lit: Path) -> None:
    notes = lit / "light.toml"
    notes.write_text(notes.read_text().replace("simulated easy", "another"))
    assert "is of the rig" in str(done(rig, "light", str(lit)))
    assert "there is no [light_driver]" in str(done(rig, "light"))


# --- a known length in a picture of now ---


def pixels(rig: Path, *places: Sequence[float]) -> list[str]:
    view = load_calibration(rig.with_name("camera.toml")).view
    return [f"{u:.1f},{v:.1f}/0" for u, v in view.to_pixels([[*place, 0.0] for place in places]).tolist()]


def test_a_length_in_a_picture_is_measured_and_the_picture_kept(rig: Path, tmp_path: Path) -> None:
    view = load_calibration(rig.with_name("camera.toml")).view
    picture = tmp_path / "now.png"
    cv2.imwrite(str(picture), np.full((view.lens.height_px, view.lens.width_px), 120, np.uint8))
    ends = pixels(rig, (0.0, 0.0), (600.0, 0.0))
    found = done(rig, "plane", *ends, "600", picture=picture)
    assert passed(found), found
    assert isinstance(found, Did)
    assert found.evidence == "evidence/known-length-1.png"
    kept = cv2.imread(str(rig.parent / found.evidence))
    assert kept is not None
    assert (kept.reshape(-1, 3) == (0, 0, 255)).all(axis=1).any(), "both ends are drawn in"
    again = done(rig, "plane", *ends, "640", picture=picture)
    assert not passed(again)
    assert isinstance(again, Did)
    assert again.evidence == "evidence/known-length-2.png"


def test_without_a_length_or_with_a_picture_of_another_size_there_is_no_verdict(rig: Path, tmp_path: Path) -> None:
    assert "two ends and a length are wanted" in str(done(rig, "plane"))
    small = tmp_path / "small.png"
    cv2.imwrite(str(small), np.zeros((100, 100), np.uint8))
    assert "found a picture of 100 x 100" in str(done(rig, "plane", "1,1", "2,2", "600", picture=small))


def test_pulls_that_are_not_there_are_no_verdict(rig: Path) -> None:
    assert "three pulls or more are wanted" in str(done(rig, "pulls"))
    assert "found 1; wanted 3" in str(done(rig, "pulls", "recordings/pull-1"))
    assert "nowhere" in str(done(rig, "pulls", "nowhere", "nowhere-2", "nowhere-3"))


def test_a_device_that_is_not_there_is_a_failed_straw_not_a_crash(tmp_path: Path) -> None:
    path = accept_rig.accept_rig(tmp_path / "rig", gates=[])
    found = done(path, "straws:start-gate")
    assert not passed(found)
    shutil.rmtree(path.parent / "recordings")
    assert not passed(done(path, "ripples"))
