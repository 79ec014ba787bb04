"""A light that blinks before a camera, with exact truth; shares nothing with what measures it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.light import Glimpses
from calibration.light_pattern import Switches

EPOCH_NS = 9_876_543_210_987_654  # a host that has been up for 114 days: floats of seconds would lose 1 µs


@dataclass(frozen=True)
class Session:
    """What is to happen."""

    seed: int = 1
    rate_hz: float = 30.0
    exposure_s: float = 0.010
    delay_s: float = 0.080
    jitter_s: float = 0.0
    dropped: float = 0.0
    noise: float = 1.0
    """Standard deviation in levels; the light makes a step of 100 of them if `gamma` is 1."""
    gamma: float = 1.0
    says_exposure: bool = True
    line_s: float = 20e-6
    row_px: float = 300.0
    length_s: float = 25.0
    every_s: float | None = None
    """Time between switches, if always the same."""
    drift: float = 0.1
    brightest: float = 255.0
    jump_s: float = 0.0
    """What is added to the stamps of the second half."""

    @property
    def truth_s(self) -> float:
        """The delay that has to come out: where the camera says no exposure, the middle of it is half of it later."""
        return self.delay_s - (0.0 if self.says_exposure else self.exposure_s / 2)


def ns(t_s: NDArray[np.float64]) -> NDArray[np.int64]:
    return EPOCH_NS + np.rint(t_s * 1e9).astype(np.int64)


def play(session: Session) -> tuple[Switches, Glimpses]:
    """What is known of the switches, and what the camera showed."""
    rng = np.random.default_rng(session.seed)
    gaps = rng.uniform(0.18, 0.75, 200) if session.every_s is None else np.full(200, session.every_s)
    moments = 1 + np.cumsum(gaps)
    moments = moments[moments < session.length_s]
    on = np.arange(len(moments)) % 2 == 0
    before = moments - rng.uniform(0, 20e-6, len(moments))
    begins = np.arange(int((session.length_s + 1.5) * session.rate_hz)) / session.rate_hz + rng.uniform(0, 0.1)
    begins = begins[rng.random(len(begins)) >= session.dropped]
    window = begins + session.row_px * session.line_s
    # light collected in a window: for each time that the light was on, the overlap of the two
    starts, ends = moments[on], np.append(moments[~on], 1e3)[: on.sum()]
    upper = np.minimum(window[:, None] + session.exposure_s, ends)
    overlap = np.maximum(upper - np.maximum(window[:, None], starts), 0).sum(axis=1)
    room = 60 * (1 + session.drift * np.sin(0.3 * begins + rng.uniform(0, 6)))
    light = np.clip((room + 100 * overlap / session.exposure_s) / 255, 0, 1)
    brightness = 255 * light ** (1 / session.gamma) + rng.normal(0, session.noise, len(begins))
    late = session.delay_s + session.jump_s * (begins > session.length_s / 2)
    stamps = ns(begins + late + session.jitter_s * rng.normal(0, 1, len(begins)))
    order = np.argsort(stamps)
    same = np.ones(len(begins), np.int64)
    return Switches(ns(before), ns(before + 20e-6), on), Glimpses(
        t_ns=stamps[order],
        exposure_ns=same * (round(session.exposure_s * 1e9) if session.says_exposure else 0),
        line_ns=same * round(session.line_s * 1e9),
        brightness=np.minimum(brightness, session.brightest)[order],
        clipped=(brightness >= session.brightest)[order],
        row_px=session.row_px,
    )


def any_session(seed: int) -> Session:
    """A camera, a room and a delay of any kind: 10 to 60 Hz, 1 to 30 ms, up to 0.5 s late, up to 2 ms of jitter."""
    rng = np.random.default_rng([seed, 77])
    rate = rng.uniform(10, 60)
    return Session(
        seed=seed,
        rate_hz=rate,
        exposure_s=min(10 ** rng.uniform(-3, np.log10(0.03)), 0.95 / rate),
        delay_s=rng.uniform(0, 0.5),
        jitter_s=rng.choice([0.0, rng.uniform(0, 2e-3)]),
        dropped=rng.choice([0.0, 0.07]),
        noise=rng.uniform(0.2, 6),
        gamma=rng.choice([1.0, 2.2]),
        says_exposure=rng.random() < 2 / 3,
    )
