"""The command as a person types it: good photos, a film, a live camera, and everything that goes wrong."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from calibration.files import load_lens
from calibration.lens import LENS_PARAMETERS
from logger.cli import main
from tests.calibration.board_views import SMALL
from tests.logger.recording.conftest import write_example

RIG = """
format = "boatrun-rig/1"
name = "Bench"
[tank]
length_mm = 1800
width_mm = 900
water_depth_mm = 90
[[lines]]
name = "start"
role = "start"
x_mm = 100
[[lines]]
name = "finish"
role = "finish"
x_mm = 1300
[camera]
calibration = "camera.toml"
[camera.driver]
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lens(*words: object) -> int:
    return main(["calibrate", "lens", *map(str, words)])


def refused(words: list[object], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert lens(*words) == 2
    said = capsys.readouterr().err
    assert told in said, said
    assert said.rstrip("\n").count("\n") == 0 or "..." in said
    assert not Path("lens").exists()


def test_photos_give_the_lens_with_its_evidence_and_nothing_is_written_over(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lens(board_photos, "--ruler-mm", 100) == 0
    said = capsys.readouterr().out
    assert "12 views taken" in said
    assert "model: usual lens" in said
    assert "there is no earlier calibration" in said
    (folder,) = (here / "lens").iterdir()
    found, covariance = load_lens(folder / "lens.toml")
    u = np.sqrt(np.diag(covariance))
    for index, name in enumerate(LENS_PARAMETERS[:8]):
        assert abs(getattr(found, name) - getattr(SMALL, name)) < 4 * u[index], name
    assert found.fx_px == pytest.approx(SMALL.fx_px, rel=0.004)
    text = (folder / "lens.toml").read_text()
    assert all(word in text for word in ("foretold_px", "photo-03.png", "sha256", "ruler_mm = 100.0", "rms_px"))
    assert {path.name for path in folder.iterdir()} == {"lens.toml", "corners.csv", "coverage.svg"}
    assert lens("--from", folder) == 0
    again = capsys.readouterr().out
    assert "things move by up to" in again or "there is no earlier" in again
    assert len(list((here / "lens").iterdir())) == 2
    assert (folder / "lens.toml").read_text() == text
    assert lens(*sorted(board_photos.iterdir())[:10], "--ruler-mm", "97", "--without", "photo-02.png") == 0
    third = capsys.readouterr().out
    assert "against the last one (lens-" in third
    assert "printed at 97.0% of its size" in third
    assert "9 views taken" in third
    assert "not taken: photo-02.png: left out by hand" in third
    assert "is that in cm" not in third


def test_the_bar_that_nobody_measured_is_a_note(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lens(*sorted(board_photos.iterdir())[:8], "--to", here / "elsewhere") == 0
    said = capsys.readouterr().out
    assert "note: nobody has measured the bar" in said
    assert "to add: show it from 4 more sides" in said
    assert not (here / "lens").exists()


def test_bad_photos_are_left_out_with_their_reasons(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(shutil.copytree(board_photos, here / "photos"))

    def change(name: str, to: object) -> None:
        path = str(folder / name)
        cv2.imwrite(path, to(cv2.imread(path, cv2.IMREAD_GRAYSCALE)))  # type: ignore[operator]

    change("photo-00.png", lambda p: p[:, ::-1])
    change("photo-01.png", lambda p: cv2.convertScaleAbs(p, alpha=2.0))
    change("photo-02.png", lambda p: np.full_like(p, 90))
    (folder / "photo-03.png").write_bytes(b"torn")
    assert lens(folder) == 0
    said = capsys.readouterr().out
    for name, reason in (
        ("photo-00", "it is mirrored"), ("photo-01", "overexposed"), ("photo-02", "no board found"),
        ("photo-03", "no picture that can be read"),
    ):  # fmt: skip
        assert any(name in line and reason in line for line in said.splitlines()), (name, said)


def test_photos_of_different_sizes_are_refused(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = Path(shutil.copytree(board_photos, here / "photos"))
    path = str(folder / "photo-05.png")
    cv2.imwrite(path, cv2.rotate(cv2.imread(path), cv2.ROTATE_90_CLOCKWISE))
    refused([folder], "360 x 640 (turned on its side?): photo-05.png", capsys)


def changed(board_photos: Path, folder: Path, change: Callable[[int, np.ndarray], np.ndarray]) -> Path:
    """The photos again, each changed."""
    folder.mkdir()
    for number, path in enumerate(sorted(board_photos.iterdir())):
        cv2.imwrite(str(folder / path.name), change(number, cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)))
    return folder


def test_photos_whose_notes_name_two_cameras_are_refused_and_photos_without_notes_are_taken_on_trust(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = here / "noted"
    folder.mkdir()
    for number, path in enumerate(sorted(board_photos.iterdir())):
        notes = Image.Exif()
        notes[0x010F], notes[0x0110] = ("Plover", "P-3") if number != 4 else ("Curlew", "C 9")
        Image.open(path).save(folder / f"{path.stem}.jpg", quality=95, exif=notes)
    refused([folder], "photos of 2 cameras: Plover P-3: photo-00.jpg", capsys)
    refused([folder], "Curlew C 9: photo-04.jpg", capsys)
    assert lens(board_photos) == 0
    assert "note: the photos have no notes (EXIF) of the camera" in capsys.readouterr().out


def test_photos_of_twelve_megapixels_are_refused_for_a_stream_of_720_rows(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four to three, as telephones take them: the stream shows a part of it, and which is not known."""

    def large(number: int, picture: np.ndarray) -> np.ndarray:
        whole = cv2.resize(picture, (4000, 2250), interpolation=cv2.INTER_CUBIC)
        return cv2.copyMakeBorder(whole, 375, 375, 0, 0, cv2.BORDER_CONSTANT, value=110)

    folder = changed(board_photos, here / "large", large)
    for path in sorted(folder.iterdir())[5:]:
        path.unlink()
    rig = here / "rig.toml"
    rig.write_text(RIG + 'kind = "v4l2_camera"\nwidth_px = 1280\nheight_px = 720\n')
    refused(
        [folder, "--rig", rig], "found photos of 4000 x 3000 for a stream of 1280 x 720, shapes 4:3 and 16:9", capsys
    )


def test_photos_of_two_zooms_are_refused_by_name(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nearer = np.array([[1.35, 0, -0.35 * 319.5], [0, 1.35, -0.35 * 179.5]])

    def zoomed(number: int, picture: np.ndarray) -> np.ndarray:
        return cv2.warpAffine(picture, nearer, (640, 360)) if number % 2 else picture

    folder = changed(board_photos, here / "zoomed", zoomed)
    refused([folder], "do not belong to the others", capsys)
    refused([folder], "give pictures of one camera with one zoom and focus, none turned or mirrored", capsys)


def upside_down(*names: str) -> Callable[[int, np.ndarray], np.ndarray]:
    return lambda number, picture: cv2.rotate(picture, cv2.ROTATE_180) if f"photo-{number:02d}" in names else picture


def test_photos_that_lie_upside_down_among_others_are_named_and_left_out(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = changed(board_photos, here / "mixed", upside_down("photo-00", "photo-03"))
    assert lens(folder) == 0
    said = capsys.readouterr().out
    assert "10 views taken" in said
    for name in ("photo-00.png", "photo-03.png"):
        assert f"not taken: {name}: it is turned upside down: turn the camera or the picture back" in said
    (kept,) = (here / "lens").iterdir()
    found, covariance = load_lens(kept / "lens.toml")
    assert abs(found.cx_px - SMALL.cx_px) < 3 * np.sqrt(covariance[2, 2])
    assert "whether photo-07.png, photo-09.png lie upside down as well cannot be told" in said


def test_photos_half_of_which_lie_upside_down_are_refused_by_name(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    turned = [f"photo-{number:02d}" for number in (0, 3, 6, 10)]
    folder = changed(board_photos, here / "mixed", upside_down(*turned))
    refused([folder], "4 of 12 pictures do not belong to the others", capsys)
    for name in turned:
        refused([folder], f"{name}.png: it is turned upside down", capsys)


def test_blurred_overexposed_or_mirrored_photos_alone_are_refused_with_the_reason(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cases = {
        "is it blurred, hidden, or another board": lambda n, p: cv2.GaussianBlur(p, (0, 0), 6),
        "is cut off to white; expose less": lambda n, p: cv2.convertScaleAbs(p, alpha=2.2),
        "switch the camera's mirroring off": lambda n, p: p[:, ::-1],
    }
    for number, (told, change) in enumerate(cases.items()):
        refused([changed(board_photos, here / f"bad {number}", change)], told, capsys)


def test_too_few_photos_are_refused_with_what_became_of_the_others(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    few = sorted(board_photos.iterdir())[:3]
    empty = here / "empty.png"
    cv2.imwrite(str(empty), np.full((360, 640), 90, np.uint8))
    refused([*few, empty], "3 different pictures with a board; at least 5 are wanted", capsys)
    refused([*few, empty], "not taken: empty.png: no board found", capsys)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "give pictures, a film or the rig file; or else --from"),
        (["none.jpg"], "none.jpg: there is no such file or folder"),
        (["none.mp4"], "none.mp4: there is no such film"),
        (["--from", "nowhere"], "there is no corners.csv"),
        (["a.jpg", "--from", "nowhere"], "or else --from with a folder"),
        (["a.jpg", "b.mp4"], "give one film, or photos"),
        (["a.jpg", "--square-mm", "2.4"], "is that in cm? Then say 24"),
        (["a.jpg", "--ruler-mm", "10"], "is that in cm? Then say 100"),
        (["a.jpg", "--chessboard", "10x7"], "--chessboard needs --square-mm"),
        (["a.jpg", "--rig", "r.toml", "--for-size", "64x48"], "give one of them"),
        (["."], "found no photos"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    words: list[object], told: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused(words, told, capsys)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["a.jpg", "--ruler-mm", "long"], "found 'long'; wanted a length in mm above 0"),
        (["a.jpg", "--chessboard", "10"], "wanted squares across x squares up, such as 10x7"),
        (["a.jpg", "--for-size", "0x720"], "wanted a width x height in pixels"),
        (["a.jpg", "--seconds", "2"], "wanted seconds from 5 to 1800"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(
    words: list[str], told: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        lens(*words)
    assert told in capsys.readouterr().err


def test_photos_that_are_not_as_the_stream_are_refused_or_worked_out_if_told_so(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig = here / "rig.toml"
    rig.write_text(RIG + 'kind = "v4l2_camera"\nwidth_px = 1280\nheight_px = 720\n')
    photos = sorted(board_photos.iterdir())[:8]
    refused([*photos, "--rig", rig], "found photos of 640 x 360 for a stream of 1280 x 720, both 16:9", capsys)
    refused([*photos, "--for-size", "640x480"], "where cannot be told from photos", capsys)
    assert lens(*photos, "--for-size", "1280x720") == 0
    assert "worked out for 1280 x 720: right only if the stream shows the whole" in capsys.readouterr().out
    (folder,) = (here / "lens").iterdir()
    found, _ = load_lens(folder / "lens.toml")
    assert found.width_px == 1280
    assert found.fx_px == pytest.approx(2 * SMALL.fx_px, rel=0.01)
    assert found.cx_px == pytest.approx(2 * SMALL.cx_px + 0.5, abs=6)


def test_a_film_gives_the_lens_and_keeps_its_pictures(
    here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    writer = cv2.VideoWriter(str(here / "film.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 10.0, (640, 360))
    for path in sorted(board_photos.iterdir()):
        for _ in range(3):
            writer.write(cv2.imread(str(path)))
    writer.release()
    assert lens(here / "film.avi", "--ruler-mm", 100.1) == 0
    assert "12 views taken" in capsys.readouterr().out
    (folder,) = (here / "lens").iterdir()
    assert len(list((folder / "views").glob("picture-*.png"))) == 12
    assert load_lens(folder / "lens.toml")[0].fx_px == pytest.approx(SMALL.fx_px, rel=0.005)


def test_the_live_camera_gives_the_lens(here: Path, board_photos: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A real driver (a recording that is replayed) and the whole session; each picture stands for half a second."""
    recording = write_example(here / "run", camera=True)
    size = {
        "width_px = 1280": "width_px = 640",
        "height_px = 720": "height_px = 360",
        "639.5": "319.5",
        "359.5": "179.5",
    }
    text = (recording / "camera.toml").read_text()
    for old, new in size.items():
        text = text.replace(old, new)
    (recording / "camera.toml").write_text(text)
    pictures = [cv2.imencode(".jpg", cv2.imread(str(path)))[1].tobytes() for path in sorted(board_photos.iterdir())]
    (recording / "video.mjpeg").write_bytes(b"".join(pictures))
    stamps = "".join(f"{n},{4_800_000_000 + 1_500_000_000 * n}\n" for n in range(len(pictures)))
    (recording / "frames.csv").write_text("frame,t_ns\n" + stamps)
    rig = here / "rig.toml"
    rig.write_text(RIG + f'kind = "recorded_camera"\nfolder = "{recording}"\npace = "real_time"\n')
    assert lens(rig, "--ruler-mm", 100) == 0
    said = capsys.readouterr()
    assert "1 view; " in said.err
    assert "views taken" in said.out
    (folder,) = (here / "lens").iterdir()
    assert load_lens(folder / "lens.toml")[0].fx_px == pytest.approx(SMALL.fx_px, rel=0.01)


def test_a_rig_without_a_camera_is_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig = here / "rig.toml"
    rig.write_text(RIG.partition("[camera]")[0])
    refused([rig], "there is no [camera.driver]", capsys)


def test_real_photographs_agree_with_an_independent_calibration(
    real_data: Path, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """OpenCV's sample photos; published by their author for the same camera: fc 533.004 533.153, cc 341.586 234.259,
    kc −0.28947 0.10326 (see tests/calibration/test_lens_fit.py)."""
    assert lens(real_data / "calibration" / "left", "--chessboard", "10x7", "--square-mm", 30) == 0
    assert "model: usual lens" in capsys.readouterr().out
    (folder,) = (here / "lens").iterdir()
    found, _ = load_lens(folder / "lens.toml")
    assert found.fx_px == pytest.approx(533.004, rel=0.0035)
    assert found.fy_px == pytest.approx(533.153, rel=0.0035)
    assert found.cx_px == pytest.approx(341.586, abs=2)
    assert found.cy_px == pytest.approx(234.259, abs=2)
    assert found.k1 == pytest.approx(-0.28947, abs=0.02)
