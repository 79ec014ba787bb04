"""camera.toml: what is written comes back, and what is wrong is said, all at once."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import CalibrationError
from calibration.files import load_calibration, load_lens, load_view, write_lens, write_view
from calibration.lens import Lens
from calibration.waterplane import Pose, View, rotation_matrix
from tests.calibration.camera_file import GRID, SMALLEST, mistakes_of, written


def test_bare_intrinsics_and_pose_are_enough(tmp_path: Path) -> None:
    view = load_view(written(tmp_path, SMALLEST))
    assert view.lens == Lens(1280, 720, 950.0, 951.5, 640.5, 360.0)
    np.testing.assert_allclose(view.pose.camera_mm, [600, 20, 1200])
    assert dict(view.variations) == {}


def test_the_pixel_under_the_camera_is_its_foot_point(tmp_path: Path) -> None:
    view = load_view(written(tmp_path, SMALLEST))
    np.testing.assert_allclose(view.to_plane([[640.5, 360.0]]), [[600, 20]], atol=1e-9)


def test_rotation_vector_and_camera_place_say_the_same_as_matrix_and_translation(tmp_path: Path) -> None:
    other = SMALLEST.replace("rotation = [[1, 0, 0], [0, -1, 0], [0, 0, -1]]", f"rotation_vector = [{math.pi!r}, 0, 0]")
    other = other.replace("translation_mm = [-600, 20, 1200]", "camera_mm = [600, 20, 1200]")
    first = load_view(written(tmp_path, SMALLEST))
    second = load_view(written(tmp_path, other))
    np.testing.assert_allclose(first.to_plane(GRID), second.to_plane(GRID), atol=1e-9)


def test_a_file_without_an_id_is_named_by_its_content(tmp_path: Path) -> None:
    first = load_calibration(written(tmp_path, SMALLEST)).id
    again = load_calibration(written(tmp_path, SMALLEST)).id
    other = load_calibration(written(tmp_path, SMALLEST.replace("951.5", "951.6"))).id
    assert first == again != other
    assert first.startswith("camera-")


def test_what_is_written_comes_back_with_sources_and_evidence(tmp_path: Path) -> None:
    covariance = (np.diag([1e-4, 2e-4, 1e-4, 0.5, 0.4, 1.0]) ** 2).tolist()
    lens_doubt = "u_k1 = 0.01\nu_cx_px = 1.5\n[pose]"
    first = load_view(written(tmp_path, SMALLEST.replace("[pose]", lens_doubt) + f"covariance = {covariance}\n"))
    path = tmp_path / "again.toml"
    write_view(path, first, calibration_id='tub "A"', date="2026-11-25", notes="é ±", evidence={"views_count": 13})
    again = load_calibration(path)
    assert (again.id, again.date, again.notes, again.evidence) == ('tub "A"', "2026-11-25", "é ±", {"views_count": 13})
    np.testing.assert_array_equal(again.view.pose.rotation, first.pose.rotation)
    assert again.view.lens == first.lens
    assert list(again.view.variations) == list(first.variations)
    for name, other in again.view.varied().items():
        np.testing.assert_allclose(other.to_plane(GRID), first.varied()[name].to_plane(GRID), atol=1e-8)


def test_an_existing_calibration_is_never_overwritten(tmp_path: Path) -> None:
    path = written(tmp_path, SMALLEST)
    with pytest.raises(CalibrationError, match="never overwritten; choose another name"):
        write_view(path, load_view(path))
    assert path.read_text() == SMALLEST


def test_writing_into_a_folder_that_is_not_there_says_so(tmp_path: Path) -> None:
    view = load_view(written(tmp_path, SMALLEST))
    with pytest.raises(CalibrationError, match="cannot be written"):
        write_view(tmp_path / "nowhere" / "camera.toml", view)


def test_a_lens_can_be_read_before_there_is_a_pose(tmp_path: Path) -> None:
    path = written(tmp_path, SMALLEST.split("[pose]")[0])
    lens, covariance = load_lens(path)
    assert lens.fx_px == 950
    assert not covariance.any()
    with pytest.raises(CalibrationError, match=r"\[pose\]: found nothing; wanted a table"):
        load_view(path)


def test_a_lens_and_its_covariance_come_back(tmp_path: Path) -> None:
    mixed = np.random.default_rng(3).normal(size=(9, 9)) * [[1], [1], [1], [1], [0.01], [0.01], [1e-4], [1e-4], [0]]
    lens = Lens(640, 480, 533.0, 533.2, 342.3, 234.0, -0.29, 0.1, 0.001, -0.0002)
    write_lens(tmp_path / "lens.toml", lens, mixed @ mixed.T, evidence={"views_count": 13})
    again, covariance = load_lens(tmp_path / "lens.toml")
    assert again == lens
    np.testing.assert_allclose(covariance, mixed @ mixed.T, rtol=1e-12)


def test_all_mistakes_of_a_lens_are_told_at_once(tmp_path: Path) -> None:
    path = written(tmp_path, SMALLEST.replace("fx_px = 950", "fx_px = 0\nu_fx_px = -2").replace("camera/1", "camera/2"))
    with pytest.raises(CalibrationError, match="wanted a number above 0") as caught:
        load_lens(path)
    assert len(caught.value.mistakes) == 3


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("boatrun-camera/1", "boatrun-camera/9", r'format: found .boatrun-camera/9.; wanted "boatrun-camera/1"'),
        ("fx_px = 950", "fx_px = -950", r"lens\.fx_px: found -950; wanted a number above 0"),
        ("fx_px = 950", "fx_px = nan", r"lens\.fx_px: found nan; wanted a number above 0"),
        ("fx_px = 950", 'fx_px = "950"', r"lens\.fx_px: found '950'"),
        ("cx_px = 640.5", "cx_px = true", r"lens\.cx_px: found True; wanted a finite number"),
        ("cx_px = 640.5", "cx_px = 64050", r"lens\.cx_px: found 64050.0; wanted a place in or near the picture"),
        ("cx_px = 640.5", "", r"lens\.cx_px: found nothing"),
        ("fx_px = 950", "fx_px = 950\nk1 = inf", r"lens\.k1: found inf"),
        ("fx_px = 950", "fx_px = 950\nk1 = -3.0", r"lens\.k1 .*does not fold the picture .*; calibrate again"),
        ("fx_px = 950", "fx_px = 950\nu_k1 = -0.1", r"lens\.u_k1: found -0.1; wanted a standard uncertainty"),
        ("fx_px = 950", "fx_px = 950\nfz_px = 3", r"lens\.fz_px: not a known name; wanted 'f._px'\?"),
        ("width_px = 1280", "width_px = 1280.5", r"lens\.width_px: found 1280.5; wanted a whole number of pixels"),
        ("width_px = 1280", "width_px = 0", r"lens\.width_px: found 0"),
        ("[0, -1, 0]", "[0, 1, 0]", r"pose\.rotation: found 'a mirror image'"),
        ("[0, -1, 0]", "[0, -1.1, 0]", r"pose\.rotation: found 'rows that are off by 0.21"),
        ("[0, -1, 0]", "[0, -1]", r"pose\.rotation: found .* wanted 3 x 3 finite numbers"),
        ("[0, -1, 0]", "[0, nan, 0]", r"pose\.rotation: found .* wanted 3 x 3 finite numbers"),
        ("[0, -1, 0], [0, 0, -1]", "[0, 1, 0], [0, 0, 1]", r"above the water.*wanted a height above 0"),
        ("20, 1200]", "20, -1200]", r"camera -1200 mm above the water"),
        ("20, 1200]", "20]", r"pose\.translation_mm: found \[-600, 20\]; wanted 3 finite numbers"),
        ("translation_mm", "camera_mm = [0, 0, 1]\ntranslation_mm", r"wanted one of translation_mm, camera_mm"),
        ("translation_mm", "u_tilt_deg = nan\ntranslation_mm", r"pose\.u_tilt_deg: found nan"),
        ("translation_mm", "covariance = [[1]]\ntranslation_mm", r"pose\.covariance: found .* 6 x 6 finite"),
        ("[pose]", "[pose]\ntilt = 3", r"pose\.tilt: not a known name"),
        ("[pose]", "[poses]", r"poses: not a known name; wanted 'pose'\?"),
        ("[pose]", '[[doubt]]\nname = ""\n[pose]', r"doubt 1\.name: found ''; wanted a name in words"),
        ("[pose]", '[[doubt]]\nname = "a"\nlens = {fx = 1}\n[pose]', r"doubt 1\.lens\.fx: not a known name"),
        ("[pose]", '[[doubt]]\nname = "a"\nshift_mm = [1, 2]\n[pose]', r"doubt 1\.shift_mm: found"),
        ("[pose]", "[pose", r"is not whole TOML .*mend that place"),
    ],
)
def test_each_mistake_names_its_place_and_what_is_wanted(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert SMALLEST.count(old) == 1
    with pytest.raises(CalibrationError, match=told):
        load_view(written(tmp_path, SMALLEST.replace(old, new)))


def test_a_camera_that_looks_up_is_refused(tmp_path: Path) -> None:
    up = SMALLEST.replace("[[1, 0, 0], [0, -1, 0], [0, 0, -1]]", "[[1, 0, 0], [0, 1, 0], [0, 0, 1]]")
    up = up.replace("translation_mm = [-600, 20, 1200]", "camera_mm = [600, 0, 1200]")
    assert "looks up, away from the water" in mistakes_of(tmp_path, up)[0]


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    bad = SMALLEST.replace("950\n", "-950\n").replace("951.5", '"much"').replace("1280", "-3").replace("1200]", "nan]")
    found = mistakes_of(tmp_path, bad)
    assert [m.split(":")[0] for m in found] == ["lens.width_px", "lens.fx_px", "lens.fy_px", "pose.translation_mm"]


def test_a_missing_file_and_a_picture_in_its_place_are_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(CalibrationError, match="cannot be read") as caught:
        load_view(tmp_path / "camera.toml")
    assert "\n" not in str(caught.value)
    (tmp_path / "camera.toml").write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(CalibrationError, match="not a text in UTF-8"):
        load_view(tmp_path / "camera.toml")


def test_a_rotation_typed_with_four_decimals_is_made_exact(tmp_path: Path) -> None:
    exact = rotation_matrix([math.pi, 0, 0]) @ rotation_matrix([0.1, -0.04, 0.3])
    text = SMALLEST.replace("[[1, 0, 0], [0, -1, 0], [0, 0, -1]]", str(exact.round(4).tolist()))
    rotation = load_view(written(tmp_path, text)).pose.rotation
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-15)
    np.testing.assert_allclose(rotation, exact, atol=1e-4)


small = st.floats(-0.2, 0.2)


@given(turn=st.tuples(small, small, small), place=st.tuples(st.floats(-900, 900), st.floats(-900, 900)))
def test_any_pose_comes_back_to_the_last_digit(tmp_path_factory, turn, place) -> None:
    pose = Pose.at(rotation_matrix([math.pi, 0, 0]) @ rotation_matrix(turn), camera_mm=[*place, 1100.0])
    path = tmp_path_factory.mktemp("poses") / "camera.toml"
    write_view(path, View(Lens(640, 480, 500.0, 501.0, 320.0, 240.0, k1=-0.05), pose))
    again = load_view(path).pose
    np.testing.assert_allclose(again.rotation, pose.rotation, rtol=0, atol=1e-15)
    np.testing.assert_array_equal(again.translation_mm, pose.translation_mm)


def test_a_fisheye_is_written_read_and_kept_apart(tmp_path: Path) -> None:
    text = SMALLEST.replace("[lens]", '[lens]\nmodel = "fisheye"\nk1 = 0.02')
    view = load_view(written(tmp_path, text))
    assert view.lens == Lens(1280, 720, 950.0, 951.5, 640.5, 360.0, k1=0.02, model="fisheye")
    path = tmp_path / "again.toml"
    write_view(path, view)
    assert load_view(path).lens == view.lens
    write_lens(tmp_path / "lens.toml", view.lens, np.eye(9))
    assert load_lens(tmp_path / "lens.toml")[0] == view.lens


def test_a_lens_model_that_is_not_known_or_has_terms_of_another_is_told(tmp_path: Path) -> None:
    unknown = SMALLEST.replace("[lens]", '[lens]\nmodel = "fish"')
    assert any("lens.model: found 'fish'; wanted \"brown\" or" in said for said in mistakes_of(tmp_path, unknown))
    mixed = SMALLEST.replace("[lens]", '[lens]\nmodel = "fisheye"\np1 = 0.001')
    assert any("tangential terms of a fisheye" in said for said in mistakes_of(tmp_path, mixed))
