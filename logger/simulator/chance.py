"""Chance with a name: every part of a simulation draws from its own stream, so that changing one leaves the others."""

from __future__ import annotations

from zlib import crc32

import numpy as np


def stream(seed: int, name: str) -> np.random.Generator:
    """The generator of the part called `name` under `seed`: same seed and name, same numbers, on every machine."""
    return np.random.default_rng([seed, crc32(name.encode())])
