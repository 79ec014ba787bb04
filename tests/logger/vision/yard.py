"""A small painted yard to watch: a frame with posts about a dark middle."""

from __future__ import annotations

import cv2
import numpy as np


def yard(seed=1) -> np.ndarray:
    """A bright frame about a dark middle, with posts on it: float32, soft edges."""
    picture = np.full((360, 640), 60.0, np.float32)
    picture[30:330, 40:600] = 200
    picture[50:310, 60:580] = 120
    rng = np.random.default_rng(seed)
    for u, v in ((120, 30), (300, 30), (500, 30), (120, 320), (420, 320), (40, 150), (590, 220)):
        picture[v - 8 : v + 8, u - 6 : u + 6] = rng.uniform(20, 50)
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.float32)


def seen(picture: np.ndarray, noise=2.0, seed=3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.clip(np.round(picture + rng.normal(0, noise, picture.shape)), 0, 255).astype(np.uint8)


def shifted(picture: np.ndarray, u: float, v: float) -> np.ndarray:
    """Moved by whole and broken pixels through the spectrum: no interpolation whose error would look like a shift."""
    rows, columns = np.fft.fftfreq(picture.shape[0])[:, None], np.fft.fftfreq(picture.shape[1])[None]
    turned = np.fft.fft2(picture) * np.exp(-2j * np.pi * (columns * u + rows * v))
    return np.asarray(np.real(np.fft.ifft2(turned)), np.float32)
