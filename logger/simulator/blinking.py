"""A tub with a light in it that somebody else switches, and a camera above that is late: for trying the light sync.

Unlike the simulated tank it has no story: light and camera live on the clock that they are given, and what a picture
shows is worked out when it is due, from what was switched until then.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from itertools import pairwise
from weakref import WeakValueDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.simulator.chance import stream

WIDTH_PX, HEIGHT_PX = 320, 240
_GLOW_PX = 12
_GREY = 2.2  # exponent between light and pixel value of a common camera, from memory


@dataclass(frozen=True, slots=True)
class BlinkWishes:
    """What the camera and the light are to be like."""

    seed: int = 1
    """Same seed, same floor, noise and jitter."""
    delay_ns: int = 45_000_000
    """How late its stamps are."""
    jitter_ns: int = 0
    """Standard deviation of one stamp."""
    period_ns: int = 33_333_333
    exposure_ns: int = 8_000_000
    line_ns: int = 20_000
    u_px: int = 210
    v_px: int = 90
    """Where the light is: column, row."""
    glow_levels: float = 110.0
    """Light that it adds at its middle, of 255."""
    dropped_share: float = 0.0
    """Of the pictures."""


@dataclass(frozen=True, slots=True, eq=False)
class Shot:
    """One picture as the camera hands it out."""

    t_ns: int
    """Its stamp."""
    jpeg: bytes


class BlinkingTub:
    """The light's history, and pictures of it. Light and camera may be used by two threads."""

    def __init__(self, wishes: BlinkWishes, *, begins_ns: int) -> None:
        self.wishes = wishes
        self._begins_ns = begins_ns
        self._lock = threading.Lock()
        self._switched_ns: list[int] = []
        self._ground = _ground(wishes)
        rows, columns = np.mgrid[-_GLOW_PX : _GLOW_PX + 1, -_GLOW_PX : _GLOW_PX + 1]
        self._glow = wishes.glow_levels * np.exp(-(rows**2 + columns**2) / 16.0)

    def switch(self, on: bool, t_ns: int) -> None:
        """Switch the light at `t_ns`; it is off at first."""
        with self._lock:
            if on != (len(self._switched_ns) % 2 == 1):
                self._switched_ns.append(t_ns)

    def stamp_ns(self, number: int) -> int:
        """The stamp of picture `number`; it is late by the delay and its own jitter, which never swaps two pictures."""
        wishes = self.wishes
        jitter = wishes.jitter_ns * float(stream(wishes.seed, f"jitter {number}").normal())
        most = 0.45 * wishes.period_ns
        return self._begin_ns(number) + wishes.delay_ns + round(min(max(jitter, -most), most))

    def due_ns(self, number: int) -> int:
        """When picture `number` is handed out: after its last row's exposure and not before its stamp."""
        end_ns = self._begin_ns(number) + HEIGHT_PX * self.wishes.line_ns + self.wishes.exposure_ns
        return max(end_ns, self.stamp_ns(number))

    def is_dropped(self, number: int) -> bool:
        """Whether the camera lost this picture."""
        return float(stream(self.wishes.seed, f"dropped {number}").random()) < self.wishes.dropped_share

    def shot(self, number: int) -> Shot:
        """Picture `number`; to be asked for only when it is due."""
        wishes = self.wishes
        rng = stream(wishes.seed, f"noise {number}")
        rows = np.arange(wishes.v_px - _GLOW_PX, wishes.v_px + _GLOW_PX + 1)
        lit = np.array([self._lit(self._begin_ns(number) + int(row) * wishes.line_ns) for row in rows])
        light = self._ground * (1 + 0.04 * np.sin(number * wishes.period_ns / 4e9))
        patch = light[rows[0] : rows[-1] + 1, wishes.u_px - _GLOW_PX : wishes.u_px + _GLOW_PX + 1]
        patch += (lit[:, None] * self._glow)[..., None] * np.array([0.75, 0.9, 1.0])
        shown = 255 * np.clip(light / 255, 0, 1) ** (1 / _GREY)
        noisy = shown + rng.normal(0, 1.5, shown.shape[:2])[..., None]
        packed = cv2.imencode(".jpg", np.clip(noisy, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 85])[1]
        return Shot(self.stamp_ns(number), packed.tobytes())

    def _begin_ns(self, number: int) -> int:
        return self._begins_ns + number * self.wishes.period_ns

    def _lit(self, begin_ns: int) -> float:
        """Part of the exposure that begins at `begin_ns` during which the light was on."""
        end_ns = begin_ns + self.wishes.exposure_ns
        with self._lock:
            turns = [*self._switched_ns, *([end_ns] if len(self._switched_ns) % 2 else [])]
        overlap = sum(
            max(0, min(off, end_ns) - max(on, begin_ns)) for on, off in list(pairwise(turns))[::2] if off > begin_ns
        )
        return overlap / self.wishes.exposure_ns


def _ground(wishes: BlinkWishes) -> NDArray[np.float64]:
    """A pale floor between darker walls, not quite evenly lit; linear light, 0 to 255."""
    v, u = np.mgrid[:HEIGHT_PX, :WIDTH_PX]
    even = 70 + 12 * u / WIDTH_PX - 8 * v / HEIGHT_PX
    wall = (np.minimum(u, WIDTH_PX - 1 - u) < 18) | (np.minimum(v, HEIGHT_PX - 1 - v) < 14)
    grain = cv2.GaussianBlur(stream(wishes.seed, "floor").normal(0, 6, even.shape), (0, 0), 3)
    grey = np.where(wall, 18, even) + grain
    return np.asarray(grey[..., None] * np.array([1.0, 0.98, 0.93]), np.float64)


_TUBS: WeakValueDictionary[str, BlinkingTub] = WeakValueDictionary()
"""The tubs that stand somewhere now, by name. Light and camera are opened apart from each other, as real ones are, and
meet here as real ones meet in a room; a tub is gone with the camera that brought it."""


def set_up(name: str, tub: BlinkingTub) -> None:
    """Let `tub` be found under `name` for as long as somebody holds it."""
    _TUBS[name] = tub


def standing(name: str) -> BlinkingTub | None:
    """The tub of that name, if one stands."""
    return _TUBS.get(name)
