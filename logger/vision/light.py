"""From the numbers in a picture to light.

Where an edge crosses a pixel it is light that mixes, not the camera's numbers: these are bent by a tone curve, and an
edge measured in them seems to lie up to a third of a pixel toward the darker side. The curve of an ordinary camera is
close to a power of 1/2.2 (IEC 61966-2-1).

A grey picture is the sum of three colours, each bent on its own. Half light of a red boat and half of a pale floor is
not the grey of half the light: the sum is straightened for the two colours that meet at the boat's edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

Grey = NDArray[np.uint8]
Singles = NDArray[np.float32]
Floats = NDArray[np.float64]

_POWER = 2.2
_FINE_POWER = 1.55
_MOST_BENT = 0.6
_WALL_SHADE = 0.55
"""Usual light of a wall as a share of the deck's."""
_NUMBERS = np.arange(256.0)
_LUMA = np.array([0.114, 0.587, 0.299])
"""Weights of blue, green and red in a grey picture (ITU-R BT.601)."""


@dataclass(frozen=True, slots=True, eq=False)
class Tone:
    """The light, 0 to 255, that each picture number stands for; it grows with the number."""

    of: Singles
    """(256,)"""
    wall_bend: float = 0.0
    """How far light of wall and water is from a straight mixture: at shares s of wall and 1 - s of water the
    wall seems to have s + wall_bend·s·(1 - s)."""
    wall_shade: float = 0.6
    """First idea of a wall's light as a share of the deck's: it stands upright under a lamp from above."""

    def light(self, picture: Grey) -> Singles:
        """The picture's light."""
        return np.asarray(cv2.LUT(picture, self.of), np.float32)

    def light_between(self, numbers: Singles) -> Singles:
        """The light of picture numbers that are averages (not whole numbers); NaN stays NaN."""
        whole = np.clip(np.fmax(numbers, 0), 0, 255).astype(np.uint8)
        rise = np.append(np.diff(self.of), np.float32(0))
        return np.asarray(cv2.LUT(whole, self.of) + (numbers - whole) * cv2.LUT(whole, rise), np.float32)


def _powered(power: float) -> Floats:
    light: Floats = 255.0 * (_NUMBERS / 255.0) ** power
    return light


PLAIN = Tone(np.asarray(_powered(_POWER), np.float32))
"""Of a picture without colour."""
ONE_COLOUR = Tone(np.asarray(_powered(_FINE_POWER), np.float32))
"""Of one colour of a JPEG: half of an edge's softness comes from mixing light, half from averaging colour numbers over
two pixels each way (found to fit on simulated pictures)."""


def mixing(boat: ArrayLike, water: ArrayLike) -> Tone:
    """The tone of grey pictures in which light of the colours `boat` and `water` (blue, green, red; numbers) mixes.

    Between their two greys, light is a straight mixture of the two; outside it follows the plain curve. Colours whose
    mixtures are darker or brighter than both (of the same grey, but of different hue) leave the plain curve everywhere.
    """
    share = np.linspace(0, 1, 257)
    ends = (np.asarray([water, boat], np.float64) / 255.0) ** _POWER
    greys = _greys(ends[0], ends[1], share)
    rises = np.sign(greys[-1] - greys[0]) * np.diff(greys)
    if rises.min() <= 0:
        return PLAIN
    order = slice(None) if greys[-1] > greys[0] else slice(None, None, -1)
    first, last = np.interp(greys[[0, -1]], _NUMBERS, PLAIN.of)
    between = first + (last - first) * np.interp(_NUMBERS, greys[order], share[order])
    is_between = (greys.min() <= _NUMBERS) & (greys.max() >= _NUMBERS)
    of = np.where(is_between, between, PLAIN.of)
    wall = np.interp(_greys(ends[0], _WALL_SHADE * ends[1], share), _NUMBERS, of)
    seems = (wall - wall[0]) / (wall[-1] - wall[0] or 1.0)
    # least squares over all shares; the mean of (s·(1 - s))² is 1/30
    bend = 30 * float(np.mean((seems - share) * share * (1 - share)))
    return Tone(of.astype(np.float32), float(np.clip(bend, -_MOST_BENT, _MOST_BENT)))


def _greys(water: Floats, boat: Floats, share: Floats) -> Floats:
    """Grey numbers (n,) of mixtures of the lights (3,) of two colours, for shares (n,) of `boat`."""
    mixed = (1 - share[:, None]) * water + share[:, None] * boat
    greys: Floats = 255.0 * (mixed ** (1 / _POWER)) @ _LUMA
    return greys
