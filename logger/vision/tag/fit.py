"""Lay the known print over one picture: place and heading on its plane by least squares.

Light of the picture = paper, even or sloping, less ink that is seen where the print has it. Everything about the print
is known (its cells, its size, the height at which it lies), the blur was learnt from the run and the smear follows from
speed and exposure. So it works where no number can be read any more. What does not belong (a shining film, a sail or
finger across it) loses its weight by its residual (Cauchy's weights), and what is left must still look like the print
and like no other.

Numbers: `match` is the weighted correlation of what is seen with the print, 1 for a perfect one. A wrong half turn or
a place one cell aside reaches 0.3 to 0.6.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from logger.vision.light import PLAIN, Tone
from logger.vision.plane import Plane
from logger.vision.tag.look import Look

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

_NOISE_GREY = 3.0
"""Usual noise of a picture number."""
_MODEL_SHARE = 0.03
"""How far ink or paper may be from even, as a share of their difference."""
_CAUCHY = 2.4
"""Cauchy's constant: 95 % efficient for normal residuals (Holland and Welsch 1977)."""
_CORRELATED = 3.0
"""So many neighbouring pixels share one independent piece of noise: JPEG, and the film's own unevenness."""
_CLOSE_PX = 0.12
"""After a smaller step the next one would say nothing new."""
_SETTLED = 3.0
_MOST_STEP = 0.08
"""Longest step, as a share of the size."""
_MOST_TURN_RAD = 0.12
_LEAST_MATCH, _SURE_MATCH = 0.80, 0.90
_PARTLY_MATCH, _PARTLY_AGREEING = 0.62, 0.45
_LEAST_CONTRAST = 0.25
_LEAST_AGREEING = 0.55
_LEAST_LEAD = 0.08
"""By so much the match must be better than that of any other quarter turn."""
_LEAST_COUNT, _ENOUGH_COUNT = 40, 400
"""Fewer pixels show nothing; more are not needed."""
_THIRDS = np.array([[u, v] for v in (0.0, 0.5, 1.0) for u in (0.0, 0.5, 1.0)])
_CHOOSE_AGAIN = 0.02
"""A move by more than this share of the size calls for other pixels."""


@dataclass(frozen=True, slots=True, eq=False)
class TagFit:
    """One picture's answer, on the plane of the print."""

    place_mm: Floats
    heading_rad: float
    covariance: Floats
    """(3, 3) of x, y (mm) and heading (rad), random part."""
    match_share: float
    contrast: float
    """Light that the ink takes away, as a share of the paper's."""
    agreeing: float
    """Share of the pixels that look like the print."""
    lead: float
    """How much better it matches than in any other quarter turn; of a disc its match."""
    row_px: float
    """Picture row of its middle."""
    is_settled: bool = True
    """Whether the search came to an end."""

    @property
    def good(self) -> bool:
        """Whether the picture really shows this print at this place."""
        return (
            self.is_settled
            and self.match_share > _LEAST_MATCH
            and self.contrast > _LEAST_CONTRAST
            and self.agreeing > _LEAST_AGREEING
            and self.lead > _LEAST_LEAD
        )

    @property
    def shows_partly(self) -> bool:
        """Whether what is seen of it looks like the print, though much is hidden: enough where it must be here."""
        if not self.is_settled:
            return False
        return self.match_share > _PARTLY_MATCH and self.contrast > _LEAST_CONTRAST and self.agreeing > _PARTLY_AGREEING

    @property
    def sure(self) -> bool:
        """Whether it needs no further witness."""
        return self.good and self.match_share > _SURE_MATCH


class Patch:
    """A window of one picture with the place of each pixel on the plane."""

    def __init__(self, picture: Grey, plane: Plane, centre_mm: Floats, reach_mm: float, tone: Tone = PLAIN) -> None:
        """Cut it out.

        Args:
            picture: (h, w).
            plane: of the print.
            centre_mm: (2,) around which.
            reach_mm: how far to all sides.
            tone: what light the numbers stand for.
        """
        rows, columns = picture.shape
        corners = np.asarray(centre_mm) + reach_mm * np.array([[1.0, 1], [1, -1], [-1, -1], [-1, 1]])
        seen = plane.pixels(corners)
        ok = np.isfinite(seen).all()
        low = np.floor(seen.min(axis=0)) if ok else np.zeros(2)
        high = np.ceil(seen.max(axis=0)) if ok else np.zeros(2)
        left, right = np.clip([low[0], high[0] + 1], 0, columns).astype(int)
        top, bottom = np.clip([low[1], high[1] + 1], 0, rows).astype(int)
        self.left_px, self.top_px = int(left), int(top)
        self.grey = picture[top:bottom, left:right]
        self.light = tone.light(np.ascontiguousarray(self.grey)) if self.grey.size else np.zeros((0, 0), np.float32)
        self.is_empty = min(self.grey.shape) < 4
        if not self.is_empty:
            self.x_mm, self.y_mm = _laid_out(plane, self.left_px, self.top_px, *self.grey.shape)
            self.row_px = np.arange(top, bottom, dtype=np.float64)[:, None]

    @property
    def pixel_mm(self) -> float:
        """From one pixel to the next."""
        return float(np.hypot(self.x_mm[0, 1] - self.x_mm[0, 0], self.y_mm[0, 1] - self.y_mm[0, 0]))


def _laid_out(plane: Plane, left: int, top: int, rows: int, columns: int) -> tuple[Floats, Floats]:
    """(rows, columns) x and y on the plane of each pixel: worked out at nine, parabolas between."""
    nodes = _THIRDS * (columns - 1, rows - 1) + (left, top)
    places = plane.points(nodes).reshape(3, 3, 2)
    along, down = _parabolas(columns), _parabolas(rows)
    x, y = (down @ places[..., k] @ along.T for k in (0, 1))
    return x, y


@lru_cache(maxsize=256)
def _parabolas(count: int) -> Floats:
    """(count, 3) weights of three evenly spread nodes (Lagrange)."""
    s = np.linspace(0, 2, count)
    return np.stack([(s - 1) * (s - 2) / 2, s * (2 - s), s * (s - 1) / 2], axis=1)


@dataclass(frozen=True, slots=True)
class Motion:
    """How the print moves while the picture is taken."""

    velocity_mm_per_s: tuple[float, float] = (0.0, 0.0)
    line_s: float = 0.0
    """From one row to the next."""


STILL = Motion()


def fit(
    patch: Patch,
    look: Look,
    *,
    place_mm: Floats,
    heading_rad: float,
    motion: Motion = STILL,
    steps_count: int = 12,
    turns: bool = True,
) -> TagFit | None:
    """The best place near `place_mm` (2,); None where the window shows too little of it.

    Args:
        patch: around it.
        look: of the print there.
        place_mm: where to start.
        heading_rad: likewise; a disc keeps it.
        motion: during the exposure.
        steps_count: most Gauss-Newton steps.
        turns: also try the other quarter turns; not needed where the heading is known from the picture before.
    """
    if patch.is_empty:
        return None
    pose = np.array([*place_mm, heading_rad], np.float64)
    free = 2 if look.is_round else 3
    most = np.array([look.size_mm * _MOST_STEP, look.size_mm * _MOST_STEP, _MOST_TURN_RAD])[:free]
    arm = np.array([1.0, 1.0, look.size_mm / 2])[:free]
    close = _CLOSE_PX * patch.pixel_mm
    chosen = _choose(patch, look, pose, motion)
    light: Floats | None = None
    moved = np.inf
    for _ in range(steps_count):
        if chosen is not None and np.hypot(*(pose[:2] - chosen.place)) > _CHOOSE_AGAIN * look.size_mm:
            chosen = _choose(patch, look, pose, motion)
        if chosen is None:
            return None
        step = _step(chosen, look, pose, light)
        change, light = np.clip(step.change, -most, most), step.light
        pose[:free] += change
        moved = float(np.abs(change * arm).max())
        if moved < close:
            break
    if chosen is None:
        return None
    final = _step(chosen, look, pose, light)
    match = _match(chosen.seen, final.ink, final.flat, final.weight)
    lead = match
    if turns and not look.is_round:
        lead -= max(
            _match(chosen.seen, look.at_all(u, v)[:, 0], final.flat, final.weight)
            for u, v in ((-final.y, final.x), (-final.x, -final.y), (final.y, -final.x))
        )
    covariance = np.diag([0.0, 0.0, np.pi**2])
    covariance[:free, :free] = final.covariance
    contrast = -float(final.light[3]) / max(float(final.light[0]), 1.0)
    return TagFit(
        pose[:2],
        float(pose[2]),
        covariance,
        match,
        contrast,
        final.agreeing,
        lead,
        chosen.row_px,
        moved < _SETTLED * close,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Chosen:
    """The pixels that are compared, on the plane."""

    x: Floats
    y: Floats
    seen: Floats
    place: Floats
    row_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One Gauss-Newton step: paper and its slopes, ink and its slopes are free; place and heading are sought."""

    change: Floats
    covariance: Floats
    light: Floats
    """(6,) paper, its slopes, ink, its slopes."""
    agreeing: float
    x: Floats
    y: Floats
    ink: Floats
    flat: Floats
    weight: Floats


def _choose(patch: Patch, look: Look, pose: Floats, motion: Motion) -> _Chosen | None:
    """The pixels on the print, each row put back to the time of the middle one; every so-manieth if there are many."""
    dx, dy = patch.x_mm - pose[0], patch.y_mm - pose[1]
    middle = int(np.argmin(dx**2 + dy**2)) // dx.shape[1]
    row_px = float(patch.row_px[middle, 0])
    if motion.line_s:
        later = (patch.row_px - row_px) * motion.line_s
        dx, dy = dx - motion.velocity_mm_per_s[0] * later, dy - motion.velocity_mm_per_s[1] * later
    c, s = np.cos(pose[2]), np.sin(pose[2])
    used = np.flatnonzero(look.covers(c * dx + s * dy, c * dy - s * dx))
    if len(used) < _LEAST_COUNT:
        return None
    used = used[:: max(1, round(len(used) / _ENOUGH_COUNT))]
    x, y = dx.ravel()[used] + pose[0], dy.ravel()[used] + pose[1]
    return _Chosen(x, y, patch.light.ravel()[used].astype(np.float64), pose[:2].copy(), row_px)


def _step(chosen: _Chosen, look: Look, pose: Floats, light: Floats | None) -> _Step:
    dx, dy = chosen.x - pose[0], chosen.y - pose[1]
    c, s = np.cos(pose[2]), np.sin(pose[2])
    x, y = c * dx + s * dy, c * dy - s * dx
    drawn = look.at_all(x, y)
    ink = drawn[:, 0]
    free = 2 if look.is_round else 3
    sought = np.empty((len(x), free + 6))
    sought[:, free] = 1.0
    sought[:, free + 1], sought[:, free + 2], sought[:, free + 3] = x / look.size_mm, y / look.size_mm, ink
    sought[:, free + 4], sought[:, free + 5] = sought[:, free + 1] * ink, sought[:, free + 2] * ink
    lit = sought[:, free:]
    if light is None:
        light = _solved(lit, chosen.seen, np.ones(len(x)))
    model = lit @ light
    depth = abs(float(light[3]))
    slope = 2.2 * (np.clip(model, 2.0, 255.0) / 255.0) ** 0.545
    sigma = np.hypot(_NOISE_GREY * slope, _MODEL_SHARE * depth) + 0.3
    rest = (chosen.seen - model) / sigma
    size = np.abs(rest)
    spread = min(max(1.0, 1.4826 * float(np.partition(size, len(size) // 2)[len(size) // 2])), 8.0)
    weight = 1 / (sigma**2 * (1 + (rest / (_CAUCHY * spread)) ** 2))
    # the picture moves with the print: by place, by turn
    depth_at = light[3] + light[4] * sought[:, free + 1] + light[5] * sought[:, free + 2]
    by_x, by_y = drawn[:, 1] * depth_at, drawn[:, 2] * depth_at
    sought[:, 0], sought[:, 1] = s * by_y - c * by_x, -s * by_x - c * by_y
    if free == 3:
        sought[:, 2] = by_x * y - by_y * x
    weighted = sought * weight[:, None]
    normal = weighted.T @ sought
    at = np.arange(len(normal))
    normal[at, at] += 1e-9 * np.trace(normal)
    inverse = np.linalg.inv(normal)
    answer = inverse @ (weighted.T @ (chosen.seen - model))
    agreeing = float((size * sigma < np.maximum(3 * sigma, 0.25 * depth)).mean())
    covariance = np.asarray(inverse[:free, :free] * (_CORRELATED * spread**2), np.float64)
    return _Step(answer[:free], covariance, light + answer[free:], agreeing, x, y, ink, lit[:, :3], weight)


def _solved(lit: Floats, seen: Floats, weight: Floats) -> Floats:
    weighted = lit * weight[:, None]
    normal = weighted.T @ lit
    at = np.arange(len(normal))
    normal[at, at] += 1e-9 * np.trace(normal)
    return np.asarray(np.linalg.solve(normal, weighted.T @ seen), np.float64)


def _match(seen: Floats, ink: Floats, flat: Floats, weight: Floats) -> float:
    """Weighted correlation of darkness and ink, both without their slopes over the window."""
    pair: Floats = np.column_stack([-seen, ink]).astype(np.float64)
    both = pair - flat @ _solved(flat, pair, weight)
    (dd, di), (_, ii) = (both * weight[:, None]).T @ both
    return float(di / np.sqrt(max(dd * ii, 1e-12)))
