"""Pictures come out of a video forwards, each with its number, whatever container and whatever damage."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import InputError
from logger.recording.video import decoded_count, find_video, holds_jpegs, packets, pictures, survey

from .conftest import HEIGHT_PX, WIDTH_PX, jpeg, picture

JPEGS = [jpeg(number) for number in range(12)]
CONTAINERS = (("avi", "MJPG"), ("mkv", "MJPG"), ("mp4", "mp4v"), ("mov", "mp4v"), ("avi", "XVID"), ("webm", "VP80"))


@pytest.fixture
def row(tmp_path: Path) -> Path:
    path = tmp_path / "video.mjpeg"
    path.write_bytes(b"".join(JPEGS))
    return path


def written(folder: Path, ending: str, code: str, count: int = 12) -> Path:
    path = folder / f"video.{ending}"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*code), 30, (WIDTH_PX, HEIGHT_PX))
    assert writer.isOpened()
    for number in range(count):
        writer.write(picture(number))
    writer.release()
    return path


def number_seen(image: np.ndarray) -> int:
    """Which of the pictures of conftest.py it is: the red square stands 4 pixels further right in each."""
    red = np.clip(image[20:28, :, 2].astype(float) - image[20:28, :, 1], 0, None).sum(axis=0)
    return round(((red * np.arange(WIDTH_PX)).sum() / red.sum() - 3.5) / 4)


def test_a_row_of_jpegs_is_given_back_byte_for_byte(row: Path) -> None:
    assert list(packets(row)) == JPEGS
    assert [packet for _, _, packet in pictures(row, grey=True)] == JPEGS


@pytest.mark.parametrize(("ending", "code"), CONTAINERS)
def test_every_container_gives_all_pictures_in_order(tmp_path: Path, ending: str, code: str) -> None:
    path = written(tmp_path, ending, code)
    found = list(pictures(path, grey=False))
    assert [number for number, _, _ in found] == list(range(12))
    assert [number_seen(image) for _, image, _ in found if image is not None] == list(range(12))
    assert survey(path).count == decoded_count(path) == 12
    assert holds_jpegs(path) == (code == "MJPG")


@pytest.mark.parametrize("code", ["MJPG", "mp4v"])
def test_brightness_alone_is_the_brightness_of_the_coloured_picture(tmp_path: Path, code: str) -> None:
    path = written(tmp_path, "avi", code)
    pairs = zip(pictures(path, grey=True), pictures(path, grey=False), strict=True)
    for (_, grey, _), (_, colour, _) in pairs:
        assert grey is not None
        assert colour is not None
        assert grey.shape == (HEIGHT_PX, WIDTH_PX)
        # JPEG keeps brightness itself; on the way through BGR rounding and saturated red cost some of it
        assert np.abs(cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY).astype(int) - grey).mean() < 1


@pytest.mark.parametrize("code", ["MJPG", "mp4v"])
def test_only_the_wanted_pictures_are_given(tmp_path: Path, code: str) -> None:
    found = list(pictures(written(tmp_path, "avi", code), grey=False, wanted={3, 7, 99}))
    assert [number for number, _, _ in found] == [3, 7]
    assert [number_seen(image) for _, image, _ in found if image is not None] == [3, 7]


@pytest.mark.parametrize("ending", ["mjpeg", "avi", "mkv", "mov"])
def test_pictures_whose_places_are_known_are_the_same_and_the_rest_is_not_read(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"video.{ending}"
    if ending == "mjpeg":
        path.write_bytes(b"".join(JPEGS))
    else:
        path = written(tmp_path, ending, "MJPG")
    places = survey(path).places
    assert [path.read_bytes()[start : start + count] for start, count in places] == list(packets(path))
    usual, placed = (list(pictures(path, grey=True, wanted=[2, 7], places=known)) for known in ((), places))
    assert [number for number, _, _ in placed] == [2, 7]
    for one, other in zip(usual, placed, strict=True):
        assert one[2] == other[2]
        assert np.array_equal(one[1], other[1])
    kept = bytearray(path.read_bytes())
    start, count = places[4]
    kept[start : start + count] = bytes(count)
    path.write_bytes(kept)
    assert len(list(pictures(path, grey=True, wanted=[2, 7], places=places))) == 2


def test_of_what_are_no_jpegs_no_places_are_known(tmp_path: Path) -> None:
    assert survey(written(tmp_path, "mp4", "mp4v")).places == ()


def test_a_torn_last_picture_does_not_count(row: Path) -> None:
    whole = sum(map(len, JPEGS[:-1]))
    for cut in (whole + 3, whole + len(JPEGS[-1]) // 2, whole + len(JPEGS[-1]) - 1):
        row.write_bytes(b"".join(JPEGS)[:cut])
        assert survey(row).count == 11
    row.write_bytes(b"".join(JPEGS)[: whole + 400] + bytes(4096))
    assert survey(row).count == 11


def test_a_damaged_picture_is_named_and_the_others_keep_their_numbers(row: Path) -> None:
    hurt = JPEGS[5][:700] + bytes(200) + JPEGS[5][900:]
    row.write_bytes(b"".join([*JPEGS[:5], hurt, *JPEGS[6:]]))
    assert survey(row).damaged == {5}
    found = list(pictures(row, grey=False, damaged={5}))
    assert [number for number, image, _ in found if image is None] == [5]
    assert [number_seen(image) for number, image, _ in found if image is not None] == [
        0,
        1,
        2,
        3,
        4,
        6,
        7,
        8,
        9,
        10,
        11,
    ]


def test_a_picture_that_lost_its_start_is_noticed(row: Path) -> None:
    row.write_bytes(b"".join([*JPEGS[:5], bytes(300), JPEGS[5][300:], *JPEGS[6:]]))
    seen = survey(row)
    assert seen.count == 11
    assert seen.with_more == {4}


def test_pictures_of_cameras_that_leave_out_the_usual_tables_can_be_read(row: Path) -> None:
    # USB cameras leave out the Huffman tables of T.81 Annex K.3 (common practice, no source).
    row.write_bytes(b"".join(without_tables(data) for data in JPEGS))
    assert survey(row).count == 12
    assert not survey(row).damaged
    assert [number_seen(image) for _, image, _ in pictures(row, grey=False) if image is not None] == list(range(12))


def without_tables(data: bytes) -> bytes:
    place, kept = 2, data[:2]
    while data[place + 1] != 0xDA:
        size = 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        kept += b"" if data[place + 1] == 0xC4 else data[place : place + size]
        place += size
    return kept + data[place:]


def test_a_note_to_turn_the_picture_is_not_followed(row: Path) -> None:
    # Exif 2.32, tag 0x0112, value 6: to be turned by a quarter
    exif = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0"
    segment = b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif
    row.write_bytes(b"".join(data[:2] + segment + data[2:] for data in JPEGS))
    shapes = {image.shape for _, image, _ in pictures(row, grey=True) if image is not None}
    assert shapes == {(HEIGHT_PX, WIDTH_PX)}


@pytest.mark.parametrize(
    "data",
    [b"", b"no video at all, but a text\n" * 100, b"#EXTM3U\nhttp://127.0.0.1:9/a.mp4\n", os.urandom(9000)],
    ids=["nothing", "text", "list of other files", "noise"],
)
@pytest.mark.parametrize("ending", ["mp4", "mkv", "m3u8"])
def test_what_is_no_video_is_refused(tmp_path: Path, data: bytes, ending: str) -> None:
    path = tmp_path / f"video.{ending}"
    path.write_bytes(data)
    with pytest.raises(InputError, match="no pictures can be read from it; it is no video, or its end"):
        survey(path)


def test_an_mp4_without_its_end_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "mp4", "mp4v", count=60)
    path.write_bytes(path.read_bytes()[:4000])
    with pytest.raises(InputError, match=r"video\.mp4: no pictures can be read from it"):
        survey(path)


def test_the_one_video_of_a_folder_is_found(row: Path) -> None:
    assert find_video(row.parent) == row
    (row.parent / "video.avi").write_bytes(b"x")
    with pytest.raises(InputError, match=r"found video\.avi, video\.mjpeg; one video is wanted; move the others"):
        find_video(row.parent)


def test_an_empty_video_is_refused_unless_the_recorder_was_stopped(row: Path) -> None:
    row.write_bytes(b"")
    with pytest.raises(InputError, match=r"video\.mjpeg: the video is empty"):
        find_video(row.parent)
    assert find_video(row.parent, cut_short=True) is None


def test_nothing_but_our_own_words_is_said_about_broken_videos(tmp_path: Path) -> None:
    whole = b"".join(JPEGS)
    broken = {
        "a.mjpeg": whole[: len(whole) // 2],
        "b.mjpeg": JPEGS[0] + JPEGS[1][:700] + os.urandom(200) + JPEGS[1][900:] + JPEGS[2],
        "c.mp4": written(tmp_path, "mp4", "mp4v").read_bytes()[:3000],
        "d.avi": written(tmp_path, "avi", "MJPG").read_bytes()[:9000],
        "e.mkv": os.urandom(5000),
    }
    for name, data in broken.items():
        (tmp_path / name).write_bytes(data)
    script = (
        "import sys; from pathlib import Path; from logger.errors import InputError\n"
        "from logger.recording.video import pictures, survey\n"
        "for name in sys.argv[1:]:\n"
        "    try:\n"
        "        seen = survey(Path(name))\n"
        "        print(len(list(pictures(Path(name), grey=False, damaged=seen.damaged))))\n"
        "    except InputError as error:\n"
        "        print('refused')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *map(str, (tmp_path / name for name in broken))],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == len(broken)
