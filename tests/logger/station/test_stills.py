"""Still pictures of a camera: the median of several, and words where none come."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from logger.drivers.interface import Stop
from logger.errors import DriverError
from logger.records import Fault, Frame, Quiet
from logger.station.stills import STILL_COUNT, take_stills

SCENE = np.tile(np.arange(0, 240, 3, dtype=np.uint8), (60, 1))
STEP_NS = 33_000_000


class Camera:
    """A camera at the hardware's border: noisy pictures of a scene that a boat crosses, one each 33 ms."""

    name = "camera"

    def __init__(self, *, frames_count: int = 2000, dies_after: int | None = None) -> None:
        self.sent_count, self._frames_count, self._dies_after = 0, frames_count, dies_after
        self.level = 0

    def __enter__(self) -> Camera:
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault]:
        rng = np.random.default_rng(1)
        for number in range(self._frames_count):
            if stop.is_set():
                return
            t_ns = 1_000_000_000 + number * STEP_NS
            if self._dies_after is not None and number >= self._dies_after:
                if number == self._dies_after:
                    yield Fault(t_ns, "camera", "it was unplugged", "plug it in again", lasting=True)
                yield Quiet(t_ns, "camera")
                continue
            seen = np.clip(SCENE + rng.normal(0, 8, SCENE.shape), 0, 255).astype(np.uint8)
            seen[20:40, (number * 2) % 60 : (number * 2) % 60 + 8] = 255
            self.sent_count += 1
            yield Frame(t_ns, np.dstack([seen] * 3), number, 0, 0, "camera")


def test_a_still_picture_has_neither_noise_nor_what_passes_by() -> None:
    camera = Camera()
    (taken,) = take_stills(camera)
    assert taken.shape == SCENE.shape
    assert np.abs(taken.astype(int) - SCENE).max() < 40  # a boat would be up to 255
    assert camera.sent_count < 60  # and it stops when it has enough


def test_several_come_so_far_apart_as_asked() -> None:
    camera, said = Camera(), []
    taken = take_stills(camera, 3, every_s=2.0, told=said.append)
    assert len(taken) == 3
    assert said == [f"picture {n} of 3 is taken" for n in (1, 2, 3)]
    assert camera.sent_count * STEP_NS / 1e9 > 2 * 2.0


def test_a_camera_that_dies_says_why() -> None:
    with pytest.raises(DriverError, match=r"found 0 of 1 still pictures \(it was unplugged; plug it in again\)"):
        take_stills(Camera(dies_after=0))


def test_fewer_pictures_than_usual_make_a_still_one_all_the_same() -> None:
    """A recording that is over sooner than that."""
    few = STILL_COUNT * 2
    assert len(take_stills(Camera(frames_count=few))) == 1
