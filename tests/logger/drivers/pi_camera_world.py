"""A Pi's camera in three worlds: for the contract suite."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.logger.drivers.contract_case import Case, Options, Surroundings
from tests.logger.drivers.fake_picamera2 import HEIGHT, WIDTH, Sensor


def around(**sensor: Any) -> Surroundings:
    @contextmanager
    def connected(_: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Options]:
        with monkeypatch.context() as patch:
            Sensor(rate_hz=30.0, **sensor).module(patch)
            yield {"width_px": WIDTH, "height_px": HEIGHT, "rate_hz": 30.0, "line_ns": 19_000}

    return connected


PI_CAMERA = Case(
    story=around(lives_s=1.0),
    waiting=around(sends=False),
    broken=around(models=[]),
    complaint="asked for camera 0, found none; look at the ribbon cable",
    ends="unplugged",
)
