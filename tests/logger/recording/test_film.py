"""Films are true copies: the same pictures at the same times, read back by two independent readers."""

from __future__ import annotations

import shutil
import sys
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.recording.film import write_film
from logger.recording.folder import load
from logger.recording.journal import Journal
from tests.logger.recording.conftest import CAMERA_TOML, CARD, HEIGHT_PX, RIG, WIDTH_PX, frame, jpeg

av = pytest.importorskip("av", reason="films need PyAV: pip install 'boatrun[film]'")

COUNT = 60
S = 1_000_000_000


def uneven(number: int) -> int:
    """Stamps after a month of uptime, to the nanosecond, never twice the same step."""
    steps = np.random.default_rng(8).integers(11_000_000, 71_000_000, COUNT)
    return 30 * 86_400 * S + 7 + int(steps[:number].sum())


STAMPS = [uneven(number) for number in range(COUNT)]


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    with Journal(tmp_path / "run-1", card=CARD, rig=RIG, calibration=CAMERA_TOML.encode(), sync=lambda _: None) as one:
        for number, t_ns in enumerate(STAMPS):
            one.keep(frame(number, t_ns=t_ns))
    return tmp_path / "run-1"


def since_first_ns() -> list[int]:
    return [t_ns - STAMPS[0] for t_ns in STAMPS]


def test_a_mov_holds_the_same_bytes_at_the_same_times_as_pyav_reads_it(recording: Path) -> None:
    to = recording / "film.mov"
    assert write_film(load(recording), to, "mov") == COUNT
    with av.open(str(to)) as container:
        stream = container.streams.video[0]
        assert stream.time_base == Fraction(1, 1_000_000)
        assert (stream.codec_context.name, stream.width, stream.height) == ("mjpeg", WIDTH_PX, HEIGHT_PX)
        read = [(packet.pts * 1000, bytes(packet)) for packet in container.demux(stream) if packet.size]
    assert [data for _, data in read] == [jpeg(number) for number in range(COUNT)]
    assert all(abs(found - true) <= 500 for (found, _), true in zip(read, since_first_ns(), strict=True))


def test_a_mov_has_the_same_times_as_opencv_reads_it(recording: Path) -> None:
    to = recording / "film.mov"
    write_film(load(recording), to, "mov")
    capture = cv2.VideoCapture(str(to))
    found = []
    while capture.grab():
        found.append(capture.get(cv2.CAP_PROP_POS_MSEC) * 1e6)
    capture.release()
    assert found == pytest.approx(since_first_ns(), abs=1000)


def test_a_film_in_the_recording_is_not_taken_for_its_video(recording: Path) -> None:
    before = load(recording)
    for form in ("mov", "webm"):
        write_film(before, recording / f"film.{form}", form)  # type: ignore[arg-type]
    after = load(recording)
    assert after.video == before.video == recording / "video.mjpeg"
    assert after.doubts == before.doubts == ()


def test_a_mov_can_be_the_video_of_a_recording(recording: Path, tmp_path: Path) -> None:
    write_film(load(recording), tmp_path / "video.mov", "mov")
    raw = [one.jpeg for one in load(recording).frames()]
    (recording / "video.mjpeg").unlink()
    shutil.move(tmp_path / "video.mov", recording)
    again = load(recording)
    assert again.doubts == ()
    frames = list(again.frames())
    assert [one.t_ns for one in frames] == STAMPS
    assert [one.jpeg for one in frames] == raw


def test_a_webm_shows_every_picture_at_its_own_uneven_time(recording: Path, tmp_path: Path) -> None:
    to = tmp_path / "film.webm"
    assert write_film(load(recording), to, "webm") == COUNT
    with av.open(str(to)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name in ("vp8", "libvpx")
        times_ns = [round(packet.pts * stream.time_base * S) for packet in container.demux(stream) if packet.size]
    assert all(abs(found - true) <= 500_000 for found, true in zip(times_ns, since_first_ns(), strict=True))
    capture = cv2.VideoCapture(str(to))
    for number in range(COUNT):
        is_there, image = capture.read()
        assert is_there
        middle = 4 * (number % 14) + 4
        red = np.argwhere((image[..., 2] > 150) & (image[..., 1] < 120))[:, 1].mean()
        assert abs(red - (middle - 0.5)) < 2
    assert not capture.read()[0]
    capture.release()


def test_a_damaged_picture_is_left_out_and_the_others_keep_their_times(recording: Path, tmp_path: Path) -> None:
    pictures = [jpeg(number) for number in range(COUNT)]
    hurt = bytearray(pictures[7])
    hurt[len(hurt) // 2 : len(hurt) // 2 + 90] = bytes(90)
    pictures[7] = bytes(hurt)
    (recording / "video.mjpeg").write_bytes(b"".join(pictures))
    kept = [true for number, true in enumerate(since_first_ns()) if number != 7]
    for form, within_ns in (("mov", 500), ("webm", 500_000)):
        to = tmp_path / f"film.{form}"
        assert write_film(load(recording), to, form) == COUNT - 1  # type: ignore[arg-type]
        with av.open(str(to)) as container:
            stream = container.streams.video[0]
            found = [round(packet.pts * stream.time_base * S) for packet in container.demux(stream) if packet.size]
        assert all(abs(a - b) <= within_ns for a, b in zip(found, kept, strict=True))


def test_progress_is_told_up_to_the_end(recording: Path, tmp_path: Path) -> None:
    told: list[int] = []
    write_film(load(recording), tmp_path / "film.mov", "mov", progress=told.append)
    assert told == list(range(1, COUNT + 1))


def test_nothing_is_written_over(recording: Path) -> None:
    to = recording / "film.mov"
    to.write_bytes(b"somebody's own")
    with pytest.raises(InputError, match=r"film.mov: there is such a film already; move it away"):
        write_film(load(recording), to, "mov")
    assert to.read_bytes() == b"somebody's own"


@pytest.mark.parametrize("form", ["mov", "webm"])
def test_a_film_that_is_broken_off_leaves_nothing_behind(recording: Path, tmp_path: Path, form: str) -> None:
    def stop(done: int) -> None:
        if done == 20:
            raise KeyboardInterrupt("enough")

    (tmp_path / "films").mkdir()
    with pytest.raises(KeyboardInterrupt, match="enough"):
        write_film(load(recording), tmp_path / "films" / "film", form, progress=stop)  # type: ignore[arg-type]
    assert list((tmp_path / "films").iterdir()) == []


def test_without_pictures_there_is_no_film(recording: Path, tmp_path: Path) -> None:
    (recording / "video.mjpeg").unlink()
    (recording / "frames.csv").unlink()
    (recording / "edges.csv").write_text("t_ns,gate,level\n")
    with pytest.raises(InputError, match="no pictures in it; nothing to make a film of"):
        write_film(load(recording), tmp_path / "film.mov", "mov")


def test_other_videos_than_jpegs_become_a_webm_only(recording: Path, tmp_path: Path) -> None:
    write_film(load(recording), tmp_path / "film.webm", "webm")
    (recording / "video.mjpeg").unlink()
    shutil.move(tmp_path / "film.webm", recording / "video.webm")
    with pytest.raises(InputError, match="its pictures are no JPEGs, and mov keeps them as they are; make a webm"):
        write_film(load(recording), tmp_path / "film.mov", "mov")
    assert write_film(load(recording), tmp_path / "film.webm", "webm") == COUNT


def test_without_pyav_the_error_says_how_to_have_it(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(InputError, match=r"PyAV cannot be loaded .*pip install 'boatrun\[film\]'"):
        write_film(load(recording), tmp_path / "film.mov", "mov")
    assert not (tmp_path / "film.mov").exists()
