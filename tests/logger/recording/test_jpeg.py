"""Whole pictures are told from torn and disturbed ones by their bytes."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.recording import jpeg

SCENE = cv2.GaussianBlur(np.random.default_rng(4).integers(0, 255, (240, 320, 3), np.uint8), (0, 0), 1.5)


def packed(*parameters: int) -> bytes:
    return cv2.imencode(".jpg", SCENE, parameters)[1].tobytes()


PICTURE = packed()
SCAN = PICTURE.index(b"\xff\xda") + 14
"""Coded data begin here (T.81 B.2.3: a scan header of three components has 12 bytes after its marker)."""


@pytest.mark.parametrize(
    "data",
    [
        PICTURE,
        packed(cv2.IMWRITE_JPEG_QUALITY, 10),
        packed(cv2.IMWRITE_JPEG_QUALITY, 100),
        packed(cv2.IMWRITE_JPEG_PROGRESSIVE, 1),
        packed(cv2.IMWRITE_JPEG_RST_INTERVAL, 2),
        packed(cv2.IMWRITE_JPEG_OPTIMIZE, 1),
        cv2.imencode(".jpg", SCENE[..., 0])[1].tobytes(),
        cv2.imencode(".jpg", np.full((720, 1280, 3), 117, np.uint8))[1].tobytes(),
        PICTURE + bytes(500),
    ],
    ids=[
        "usual",
        "coarse",
        "fine",
        "progressive",
        "restarts",
        "own tables",
        "grey",
        "empty scene",
        "padded with zeros",
    ],
)
def test_what_a_camera_makes_is_whole(data: bytes) -> None:
    assert jpeg.look(data).is_whole
    assert not jpeg.look(data).has_more


def test_a_small_picture_inside_the_header_does_not_end_the_large_one() -> None:
    small = cv2.imencode(".jpg", np.zeros((60, 80, 3), np.uint8))[1].tobytes()
    segment = b"Exif\0\0" + small
    data = PICTURE[:2] + b"\xff\xe1" + (len(segment) + 2).to_bytes(2, "big") + segment + PICTURE[2:]
    assert jpeg.look(data).is_whole
    assert jpeg.look(data).end_index == len(data)


def test_fill_bytes_before_a_marker_are_no_fault() -> None:
    assert jpeg.look(PICTURE[:2] + b"\xff\xff" + PICTURE[2:]).is_whole


def test_every_cut_is_noticed() -> None:
    assert not any(jpeg.look(PICTURE[:cut]).is_whole for cut in range(len(PICTURE)))


@given(st.integers(SCAN, len(PICTURE) - 600), st.integers(512, 4096))
def test_a_block_of_zeros_in_the_coded_data_is_noticed(start: int, size: int) -> None:
    assert not jpeg.look(PICTURE[:start] + bytes(size) + PICTURE[start + size :]).is_whole


@given(st.integers(SCAN, len(PICTURE) - 5000), st.integers(0, 2**32))
def test_a_block_of_anything_in_the_coded_data_is_noticed(start: int, seed: int) -> None:
    # 4096 random bytes hold on average 16 times 0xFF; that all are followed by 0 or a restart has a chance of 1e-23.
    # If the first of them makes an end marker (1 in 65,536 bytes), what comes after it is noticed.
    block = np.random.default_rng(seed).bytes(4096)
    seen = jpeg.look(PICTURE[:start] + block + PICTURE[start + 4096 :])
    assert not seen.is_whole or seen.has_more


def test_what_follows_a_picture_is_noticed() -> None:
    assert jpeg.look(PICTURE + b"rest of the next one").has_more
    assert jpeg.look(PICTURE + bytes(4096) + b"rest of the next one").has_more


@given(st.integers(SCAN, len(PICTURE) - 3000), st.integers(700, 3000))
def test_a_picture_that_lost_a_packet_on_the_way_is_not_decoded(start: int, size: int) -> None:
    # USB cameras lose whole packets, 1 kB or more (common practice, no source): no marker shows it.
    assert jpeg.decode(PICTURE[:start] + PICTURE[start + size :], grey=True) is None


def test_a_few_bytes_before_the_end_marker_are_no_fault() -> None:
    grey = jpeg.decode(PICTURE[:-2] + b"\0\x2f" + PICTURE[-2:], grey=True)
    assert grey is not None
    assert (grey == jpeg.decode(PICTURE, grey=True)).all()
    assert jpeg.decode(PICTURE[:-2] + bytes(60) + PICTURE[-2:], grey=True) is None


def test_pictures_are_those_of_the_reference_decoder() -> None:
    data = np.frombuffer(PICTURE, np.uint8)
    colour, grey = jpeg.decode(PICTURE, grey=False), jpeg.decode(PICTURE, grey=True)
    assert (colour == cv2.imdecode(data, cv2.IMREAD_COLOR)).all()
    assert (grey == cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)).all()


def test_what_is_no_picture_is_not_decoded() -> None:
    assert jpeg.decode(b"", grey=True) is None
    assert jpeg.decode(b"\xff\xd8 and nothing more", grey=False) is None


@given(st.binary(max_size=80))
def test_any_bytes_whatever_get_an_answer(data: bytes) -> None:
    assert not jpeg.look(jpeg.START + data).is_whole or data.rstrip(b"\0").endswith(jpeg.END)


@pytest.mark.parametrize("parameters", [(), (cv2.IMWRITE_JPEG_RST_INTERVAL, 2), (cv2.IMWRITE_JPEG_OPTIMIZE, 1)])
@pytest.mark.parametrize("grey", [True, False])
def test_the_upper_rows_are_those_of_the_whole_picture(parameters: tuple[int, ...], grey: bool) -> None:
    data = packed(*parameters)
    upper, whole = jpeg.decode_upper(data, rows_px=96, of_px=240, grey=grey), jpeg.decode(data, grey=grey)
    assert upper is not None
    assert whole is not None
    assert upper.shape[:2] == (96, 320)
    # colours of the last row look at the row below
    assert np.array_equal(upper[:94], whole[:94])


def test_upper_rows_are_refused_where_they_cannot_be_had() -> None:
    for rows_px, of_px in ((96, 480), (240, 240), (0, 240)):
        assert jpeg.decode_upper(PICTURE, rows_px=rows_px, of_px=of_px, grey=True) is None
    assert jpeg.decode_upper(packed(cv2.IMWRITE_JPEG_PROGRESSIVE, 1), rows_px=96, of_px=240, grey=True) is None
    assert jpeg.decode_upper(PICTURE[: SCAN + 40], rows_px=96, of_px=240, grey=True) is None
    assert jpeg.decode_upper(b"", rows_px=96, of_px=240, grey=True) is None


@given(start=st.integers(0, len(PICTURE) - SCAN - 900), size=st.integers(300, 900))
def test_upper_rows_above_a_lost_part_are_right(start: int, size: int) -> None:
    """A part lost from the last third of the bytes is below the upper quarter of the rows."""
    at = max(SCAN + start, 2 * len(PICTURE) // 3)
    torn = PICTURE[:at] + PICTURE[at + size :]
    upper, whole = jpeg.decode_upper(torn, rows_px=48, of_px=240, grey=True), jpeg.decode(PICTURE, grey=True)
    assert whole is not None
    assert upper is None or np.array_equal(upper, whole[:48])


def test_the_size_is_read_without_decoding() -> None:
    assert jpeg.size_px(PICTURE) == (320, 240)
    assert jpeg.size_px(PICTURE[: SCAN + 40]) == (320, 240)
    assert jpeg.size_px(b"") == jpeg.size_px(b"\xff\xd8 and nothing more") == (0, 0)


def test_a_picture_may_be_decoded_later() -> None:
    image = jpeg.Undecoded(PICTURE, 320, 240)()
    assert not image.flags.writeable
    assert np.array_equal(image, cv2.imdecode(np.frombuffer(PICTURE, np.uint8), cv2.IMREAD_COLOR))


def test_a_damaged_picture_is_shown_as_far_as_it_goes_and_else_it_is_black() -> None:
    half = jpeg.Undecoded(PICTURE[: (SCAN + len(PICTURE)) // 2], 320, 240)()
    whole = jpeg.decode(PICTURE, grey=False)
    assert whole is not None
    assert np.array_equal(half[:48], whole[:48])
    nothing = jpeg.Undecoded(b"", 320, 240)()
    assert nothing.shape == (240, 320, 3)
    assert not nothing.any()
