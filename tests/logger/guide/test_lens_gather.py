from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from calibration.errors import CalibrationError
from calibration.targets import LENS_BOARD
from logger.errors import InputError
from logger.guide import lens_gather as gather


def test_photos_of_one_name_in_two_folders_are_two(board_photos: Path, tmp_path: Path) -> None:
    first, second = sorted(board_photos.iterdir())[:2]
    other = Path(shutil.copy(second, tmp_path / first.name))
    found = gather.photos([first, other], LENS_BOARD, place="here")
    assert list(found.views) == ["photo-00.png", "photo-00.png (2)"]
    assert len(set(found.digests.values())) == 2


def test_a_name_with_a_line_break_is_made_fit_for_a_table(board_photos: Path, tmp_path: Path) -> None:
    odd = Path(shutil.copy(sorted(board_photos.iterdir())[0], tmp_path / "a\nb.png"))
    assert list(gather.photos([odd], LENS_BOARD, place="here").views) == ["a_b.png"]


def test_the_stream_must_have_the_size_of_the_pictures(board_photos: Path, tmp_path: Path) -> None:
    found = gather.photos(sorted(board_photos.iterdir())[:1], LENS_BOARD, place="here")
    rig = tmp_path / "rig.toml"
    text = (
        'format = "boatrun-rig/1"\nname = "Bench"\n[tank]\nlength_mm = 1800\nwidth_mm = 900\nwater_depth_mm = 90\n'
        '[[lines]]\nname = "s"\nrole = "start"\nx_mm = 100\n[[lines]]\nname = "f"\nrole = "finish"\nx_mm = 1300\n'
        '[camera]\ncalibration = "camera.toml"\n[camera.driver]\nkind = "v4l2_camera"\n'
    )
    rig.write_text(text + "width_px = 640\nheight_px = 360\n")
    gather.check_stream(found, rig, place="here")
    rig.write_text(text + "width_px = 640\nheight_px = 480\n")
    with pytest.raises(CalibrationError, match="here: found photos of 640 x 360 for a stream of 640 x 480"):
        gather.check_stream(found, rig, place="here")
    rig.write_text(text)
    with pytest.raises(InputError, match=r"\[camera\.driver\] does not say width_px and height_px"):
        gather.check_stream(found, rig, place="here")


def test_pictures_can_be_left_out_by_hand_and_that_is_kept_in_mind(board_photos: Path) -> None:
    found = gather.photos(sorted(board_photos.iterdir())[:4], LENS_BOARD, place="here")
    less = gather.without(found, ["photo-01.png"], place="here")
    assert list(less.views) == ["photo-00.png", "photo-02.png", "photo-03.png"]
    assert less.left_out["photo-01.png"] == "left out by hand"
    with pytest.raises(InputError, match=r"here: --without: found no picture 'photo-99.png'; wanted one of photo-00"):
        gather.without(found, ["photo-99.png"], place="here")
