"""A webcam in three worlds, on the real clock: for the contract suite."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.logger.drivers.contract_case import Case, Options, Surroundings
from tests.logger.drivers.fake_capture import HEIGHT, WIDTH, Now, S, Webcam


def around(**webcam: object) -> Surroundings:
    @contextmanager
    def plugged(_: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Options]:
        with monkeypatch.context() as patch:
            Webcam(bench=Now(), **webcam).open_by(patch)  # type: ignore[arg-type]
            # a device node that is always there
            yield {"device": "/dev/null", "width_px": WIDTH, "height_px": HEIGHT, "come_back_s": 0}

    return plugged


V4L2_CAMERA = Case(
    story=around(lives_ns=S),
    waiting=around(sends=False),
    broken=around(formats=[("YUYV", 640, 480)]),
    complaint="asked for pictures of 64 x 48 MJPG, the camera gives 640 x 480 YUYV",
    ends="unplugged",
)
