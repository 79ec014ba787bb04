"""The camera on its stand: where it is mounted, how it is aimed, and when its shutter opens."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from logger.simulator.basin import Basin
from logger.simulator.eye import Eye, looking_down
from logger.simulator.tiers import Tier
from logger.simulator.wishes import Wishes, wished


@dataclass(frozen=True, slots=True, eq=False)
class Shutter:
    """When the camera looks."""

    begins_ns: NDArray[np.int64]
    """(N,) true start of exposure of the first row of every frame that arrives."""
    sequence: NDArray[np.int64]
    """(N,) the camera's own running number of each: a jump where frames were lost."""
    exposure_ns: int
    line_ns: int
    delay_ns: int
    """How much later than the truth its stamps are."""


def draw_eye(rng: np.random.Generator, tier: Tier, basin: Basin, asked: Wishes) -> Eye:
    """A camera over the middle of the tank, zoomed until the whole rim just fits."""
    width_px, height_px = 1280, 720
    length = basin.front_mm - basin.back_mm
    height = wished(asked.camera_height_mm, float(np.clip(length * rng.uniform(0.6, 0.95), 900, 2000)))
    most = np.radians(wished(asked.tilt_deg, tier.tilt_deg))
    tilt_x, tilt_y = rng.uniform(-most, most, 2)
    turn = float(rng.choice([0.0, np.pi])) + rng.uniform(-0.04, 0.04)
    rotation = looking_down(tilt_x_rad=tilt_x, tilt_y_rad=tilt_y, turn_rad=turn)
    # whoever mounts a camera aims it at the middle of the tank, tilted or not
    aim = (basin.back_mm + length * rng.uniform(0.46, 0.54), basin.half_width_mm * rng.uniform(-0.12, 0.12))
    axis = rotation[2]
    place = np.array([aim[0] + height * axis[0] / axis[2], aim[1] + height * axis[1] / axis[2], height])
    k1 = wished(asked.k1, rng.uniform(-0.2, -0.01))
    eye = Eye(
        width_px, height_px, 900.0,
        (width_px - 1) / 2 + rng.uniform(-12, 12), (height_px - 1) / 2 + rng.uniform(-12, 12),
        (k1, -0.15 * k1 * rng.uniform(0, 1), 0.0), tuple(rng.uniform(-0.0006, 0.0006, 2)), rotation, place,
    )  # fmt: skip
    return _fitted(eye, basin)


def _fitted(eye: Eye, basin: Basin) -> Eye:
    """The same camera with the longest focal length that still shows the whole rim."""
    rim = np.array([(x, y, basin.rim_mm) for x, y in basin.outline_mm])
    dense = np.concatenate([np.linspace(a, b, 20) for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)])
    low, high = 100.0, 4000.0
    for _ in range(30):
        middle = (low + high) / 2
        seen = replace(eye, f_px=middle).see(dense)
        fits = (seen > 10).all() and (seen < (eye.width_px - 11, eye.height_px - 11)).all()
        low, high = (middle, high) if fits else (low, middle)
    return replace(eye, f_px=low)


def draw_shutter(rng: np.random.Generator, tier: Tier, length_s: float, asked: Wishes) -> Shutter:
    """Frames for `length_s`, a little uneven, some of them lost."""
    count = int(length_s * asked.frame_rate_hz)
    nominal = 1e7 + np.arange(count) * (1e9 / asked.frame_rate_hz)
    begins = np.round(nominal + rng.normal(0, tier.frame_jitter_ns, count)).astype(np.int64)
    exposure = asked.exposure_ns if asked.exposure_ns is not None else int(rng.uniform(2e6, 8e6))
    line = asked.line_ns if asked.line_ns is not None else int(rng.uniform(*tier.line_ns))
    drawn_delay = int(rng.uniform(0, 4e6))
    delay = drawn_delay if asked.delay_ns is None else asked.delay_ns
    kept = np.flatnonzero(~_lost(rng, tier, count))
    return Shutter(begins[kept], kept.astype(np.int64), exposure, line, delay)


def _lost(rng: np.random.Generator, tier: Tier, count: int) -> NDArray[np.bool_]:
    """(N,) which frames never arrive: in bursts, about as many as the tier says; never the first."""
    lost = np.zeros(count, bool)
    while tier.burst_count and lost.mean() < tier.dropped * rng.uniform(0.5, 1.5):
        begin = int(rng.integers(1, max(2, count)))
        lost[begin : begin + int(rng.integers(1, tier.burst_count + 1))] = True
    return lost


@dataclass(frozen=True, slots=True)
class Bump:
    """Somebody knocks against the stand: the picture jolts, and stays a little aside."""

    at_s: float
    jolt_px: tuple[float, float]
    rate_rad_per_s: float
    decay_s: float
    left_px: tuple[float, float]

    def shift_px(self, t_s: float) -> tuple[float, float]:
        """(columns, rows) by which everything in the picture is moved at `t_s`."""
        since = t_s - self.at_s
        if since < 0:
            return 0.0, 0.0
        swing = float(np.exp(-since / self.decay_s) * np.sin(self.rate_rad_per_s * since))
        settle = -float(np.expm1(-since / 0.05))
        (ju, jv), (lu, lv) = self.jolt_px, self.left_px
        return ju * swing + lu * settle, jv * swing + lv * settle


def draw_bump(rng: np.random.Generator, tier: Tier, *, from_s: float, to_s: float) -> Bump | None:
    """A knock between the two times, or none."""
    wanted = rng.random() < tier.bump
    bump = Bump(
        rng.uniform(from_s, to_s), tuple(rng.uniform(-6, 6, 2)), rng.uniform(25, 60), rng.uniform(0.15, 0.4),
        tuple(rng.uniform(-3, 3, 2)),
    )  # fmt: skip
    return bump if wanted else None
