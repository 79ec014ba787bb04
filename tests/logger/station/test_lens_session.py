"""A person shows a board to a camera; the fake stands at the hardware border and shows painted boards."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from typing import Self

import numpy as np
import pytest

from calibration.targets import LENS_BOARD
from logger.drivers.interface import Stop
from logger.errors import DriverError
from logger.records import Fault, Frame, Quiet
from logger.station import lens_session
from logger.station.lens_session import Shown, watch
from tests.calibration.board_views import SMALL, painted_at, placed, places


class Shows:
    """A camera that shows one picture until it was looked at, then the next."""

    name = "camera"

    def __init__(self, pictures: Sequence[np.ndarray | Fault]) -> None:
        self._pictures = pictures
        self._looked = threading.Event()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def told(self, _: str) -> None:
        self._looked.set()

    def records(self, stop: Stop) -> Iterator[Frame | Fault | Quiet]:
        for index, picture in enumerate(self._pictures):
            yield Quiet(index * 10, self.name)
            if isinstance(picture, Fault):
                yield picture
                continue
            decoded = threading.Event()

            def image(picture: np.ndarray = picture, decoded: threading.Event = decoded) -> np.ndarray:
                decoded.set()
                return np.dstack([picture] * 3)

            yield Frame(index * 10 + 5, image, index, self.name)  # type: ignore[arg-type]
            while not stop.is_set() and not decoded.wait(0.02):
                pass


@pytest.fixture(scope="module")
def boards() -> list[np.ndarray]:
    return [
        painted_at(SMALL, place) for _, place in zip(range(6), places(SMALL, np.random.default_rng(3)), strict=False)
    ]


def session(pictures: Sequence[np.ndarray | Fault]) -> tuple[Shown, list[str]]:
    said: list[str] = []
    with Shows(pictures) as camera:
        return watch(camera, LENS_BOARD, length_s=120.0, told=said.append), said


def test_unlike_views_are_kept_and_what_is_missing_is_said(boards: list[np.ndarray]) -> None:
    empty = np.full((360, 640), 120, np.uint8)
    found, said = session([empty, boards[0], boards[0], *boards[1:]])
    assert len(found.pictures) == len(boards)
    np.testing.assert_array_equal(found.pictures[0][1], boards[0])
    assert found.shown.views_count == len(boards)
    assert said[0].startswith("0 views; no board in the picture")
    assert said[1].startswith("1 view; show the board in the")
    assert any("1 view; move the board:" in sentence for sentence in said)


def test_a_blurred_board_is_not_kept_and_it_is_said() -> None:
    place = placed(SMALL, np.array([0.2, 0.2, 0.1]), np.array([320.0, 180.0]), 200.0)
    assert place is not None
    found, said = session([painted_at(SMALL, place, blur_px=2.4)])
    assert found.pictures == ()
    assert "blurred: its edges are" in said[0]


def test_when_nothing_is_missing_it_ends_by_itself(boards: list[np.ndarray], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lens_session, "MOST_COUNT", 3)
    found, _ = session(boards)
    assert len(found.pictures) == 3


def test_what_the_camera_says_against_itself_is_passed_on(boards: list[np.ndarray]) -> None:
    found, _ = session([boards[0], Fault(3, "camera", "it runs hot", "let it rest"), boards[1]])
    assert found.faults == ("it runs hot; let it rest",)
    with pytest.raises(DriverError, match="camera: it is gone; plug it in"):
        session([boards[0], Fault(3, "camera", "it is gone", "plug it in", lasting=True)])


def test_what_is_covered_is_shown_after_each_view_and_a_person_may_say_enough(boards: list[np.ndarray]) -> None:
    shown: list[int] = []
    with Shows([boards[0], boards[0], *boards[1:]]) as camera:
        found = watch(
            camera, LENS_BOARD, length_s=120.0, shown=lambda cover: shown.append(cover.views_count),
            enough=lambda: len(shown) == 3,
        )  # fmt: skip
    assert shown == [1, 2, 3]
    assert len(found.pictures) == 3
