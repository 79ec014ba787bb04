"""From a covariance to independent, named sources of doubt.

A covariance C of camera parameters can be split in many ways into independent parts, C = sum of l·lᵀ. We take the one
split whose parts also act independently on the water: displacement patterns that are orthogonal over the picture
(singular value decomposition of the plane's displacement, not of C itself, whose units are mixed). Each part then
looks like one thing that can happen to a map (it slides, turns, grows, is keystoned, bends), and is named after it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from calibration.lens import Floats, Lens
from calibration.waterplane import Pose, View

Camera = tuple[Lens, Pose]

_NEGLIGIBLE = 1e-3  # a part this small beside the whole changes no digit that is ever shown


def named_sources(
    view: View, covariance: Floats, *, prefix: str, move: Callable[[Floats], Camera]
) -> Mapping[str, Camera]:
    """Independent sources of the doubt in p camera parameters.

    Args:
        view: The camera as it was estimated.
        covariance: (p, p), symmetric, not negative.
        prefix: What was estimated, in words; it begins each source's name.
        move: The camera with its p parameters changed by the given (p,) amounts.

    Returns:
        Name of the source -> the camera if that source were off by +1 standard uncertainty, the strongest first.

    Raises:
        ValueError: The doubt is so large that the camera might not see the water at all.
    """
    factor = _factor(covariance)
    if factor.shape[1] == 0:
        return {}
    pixels = _pixels_on_water(view)
    seen = view.to_plane(pixels)
    effect = np.column_stack([(View(*move(part)).to_plane(pixels) - seen).ravel() for part in factor.T])
    if not np.isfinite(effect).all():
        raise ValueError(f"{prefix}: a doubt so large that the camera might not see the water")
    patterns, strength, turned = np.linalg.svd(effect, full_matrices=False)
    parts = factor @ turned.T
    sources: dict[str, Camera] = {}
    for index in np.flatnonzero(strength > _NEGLIGIBLE * np.linalg.norm(strength)):
        word, sign = _pattern(seen, patterns[:, index].reshape(-1, 2))
        name = f"{prefix}: {word}"
        while name in sources:
            name = _next_name(name)
        sources[name] = move(sign * parts[:, index])
    return sources


def _factor(covariance: Floats) -> Floats:
    """L (p, q) with L·Lᵀ = covariance, q its rank; scaled first because the units are mixed."""
    sd = np.sqrt(np.diag(covariance))
    used = np.flatnonzero(sd > 0)
    correlation = covariance[np.ix_(used, used)] / np.outer(sd[used], sd[used])
    values, vectors = np.linalg.eigh(correlation)
    keep = values > 1e-14 * len(used)
    factor = np.zeros((len(sd), int(keep.sum())))
    factor[used] = sd[used, None] * vectors[:, keep] * np.sqrt(values[keep])
    return factor


def _pixels_on_water(view: View) -> Floats:
    """A grid over the picture, without what looks above the horizon."""
    u, v = np.meshgrid(np.linspace(0, view.lens.width_px - 1, 9), np.linspace(0, view.lens.height_px - 1, 7))
    pixels = np.column_stack([u.ravel(), v.ravel()])
    down = (view.lens.rays(pixels) @ view.pose.rotation)[:, 2] < -0.05
    kept: Floats = pixels[down]
    return kept


def _pattern(place: Floats, shift: Floats) -> tuple[str, float]:
    """Which simple motion of a map explains most of the `shift` (N, 2) of points at `place` (N, 2), and its sign."""
    x, y = ((place - place.mean(0)) / place.std()).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    motions = {
        "place along x": (one, zero),
        "place along y": (zero, one),
        "turn": (-y, x),
        "scale": (x, y),
        "stretch": (x, -y),
        "shear": (y, x),
        "keystone along x": (x * x, x * y),
        "keystone along y": (x * y, y * y),
    }
    names, basis = list(motions), np.array([np.concatenate(m) for m in motions.values()])
    orthogonal, mixing = np.linalg.qr(basis.T)
    share = orthogonal.T @ np.concatenate([shift[:, 0], shift[:, 1]]) * np.sign(np.diag(mixing))
    if share @ share < 0.9 * np.sum(shift**2):
        return "bend", 1.0
    main = int(np.argmax(np.abs(share)))
    return names[main], float(np.sign(share[main]))


def _next_name(name: str) -> str:
    stem, _, count = name.rpartition(" #")
    return f"{stem} #{int(count) + 1}" if stem and count.isdigit() else f"{name} #2"
