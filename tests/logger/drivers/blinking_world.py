"""A simulated tub with a light and a camera, and a clock that only goes on when somebody waits."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from logger.drivers import open_driver
from tests.logger.drivers.contract_case import Case, Options, given

S_NS = 1_000_000_000


class TubClock:
    """One thread lets the time pass, another one works in it: both see the same, and neither runs ahead."""

    def __init__(self) -> None:
        self._t_ns = 5_000 * S_NS
        self._changed = threading.Condition()
        self._idle_ns = -1
        self._alone = False

    def now_ns(self) -> int:
        with self._changed:
            return self._t_ns

    def pass_s(self, length_s: float) -> None:
        """For who blinks: time passes in small steps, each once the camera has done what was due."""
        left_ns = round(length_s * 1e9)
        with self._changed:
            while left_ns > 0:
                step_ns = min(left_ns, S_NS // 10)
                self._t_ns, left_ns = self._t_ns + step_ns, left_ns - step_ns
                self._changed.notify_all()
                if not self._alone and not self._changed.wait_for(lambda: self._idle_ns == self._t_ns, 5):
                    self._alone = True  # the camera has ended: nobody has to be waited for any more

    def idle(self, _: float) -> None:
        """For the camera: everything is done until the time goes on; looks up now and then whether it is to stop."""
        with self._changed:
            self._idle_ns = self._t_ns
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._idle_ns != self._t_ns, 0.05)


def camera(_: Path) -> Options:
    return {"frame_rate_hz": 20.0, "jitter_s": 0.002, "dropped_share": 0.1}


@contextmanager
def lit(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    with open_driver("simulated_blinking_camera", {"tub": "lit"}):
        yield {"tub": "lit"}


CAMERA_CASE = Case(
    story=given(lambda folder: camera(folder) | {"unplugged_after_s": 0.8}),
    waiting=given(camera),
    broken=given(lambda folder: camera(folder) | {"light_u_px": 319}),
    complaint="outside the picture",
    ends="unplugged",
)
LIGHT_CASE = Case(lit, lit, given(lambda _: {"tub": "elsewhere"}), "there is no simulated tub", speaks=False)
