"""How sharp a film is, and how large a print seems in it: what is round is a boat's disc only if it has its size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from logger.vision.tag.fit import Grey, Patch, TagFit, fit
from logger.vision.tag.look import Look
from logger.vision.tag.search import Seeker, Seen

_BLURS_PX = (0.5, 0.6, 0.7, 0.8, 0.95, 1.1, 1.3)
_SHARPEST_COUNT = 3
_SCALES = (0.94, 0.97, 1.0, 1.03, 1.06)
_OF_SIZE = 0.055
"""A disc that seems larger or smaller by this share is another thing, or half hidden."""
_CLEAR_MATCH, _CLEAR_CONTRAST = 0.9, 0.5
"""A disc has no number: it must match so well, or be so dark, to be taken for the boat's where nothing else tells."""


def of_size(seeker: Seeker, picture: Grey, seen: Seen) -> Seen:
    """Of the discs that were seen anywhere those that can be the boat's; squares are told by their number."""
    if not seeker.print.is_round:
        return seen
    clear = [one for one in seen.fits if one.match_share > _CLEAR_MATCH or one.contrast > _CLEAR_CONTRAST]
    kept = [one for one in clear if abs(_scale(seeker, picture, one, seeker.blur_px) - 1) < _OF_SIZE]
    return replace(seen, fits=tuple(kept))


def _scale(seeker: Seeker, picture: Grey, found: TagFit, blur_px: float) -> float:
    """How large it seems, over what card and plane say."""
    patch, step = _patch(seeker, picture, found), seeker.plane.step_mm(found.place_mm)
    looks = [seeker.print.look(blur_mm=blur_px * step, scale=scale) for scale in _SCALES]
    return _peak(_SCALES, [_matches(look, patch, found) for look in looks])


def _patch(seeker: Seeker, picture: Grey, found: TagFit) -> Patch:
    return Patch(picture, seeker.plane, found.place_mm, 1.8 * seeker.print.used_mm)


def sharpness(
    seeker: Seeker, pictures: Mapping[int, Grey], anchors: Mapping[int, TagFit]
) -> tuple[float, float, float]:
    """Blur of the sharpest pictures (px), and how large the print seems in them with its uncertainty."""
    best = sorted((n for n in anchors if n in pictures), key=lambda n: -anchors[n].match_share)[:_SHARPEST_COUNT]
    blurs, scales = [], []
    for number in best:
        anchor = anchors[number]
        patch = _patch(seeker, pictures[number], anchor)
        step = seeker.plane.step_mm(anchor.place_mm)

        blur = _peak(_BLURS_PX, [_matches(seeker.print.look(blur_mm=b * step), patch, anchor) for b in _BLURS_PX])
        blurs.append(blur)
        scales.append(_scale(seeker, pictures[number], anchor, blur))
    spread = float(np.std(scales)) / np.sqrt(len(scales)) if len(scales) > 1 else 0.02
    return float(np.median(blurs)), float(np.median(scales)), float(np.hypot(spread, 0.004))


def _matches(look: Look, patch: Patch, anchor: TagFit) -> float:
    found = fit(patch, look, place_mm=anchor.place_mm, heading_rad=anchor.heading_rad, steps_count=2, turns=False)
    return -1.0 if found is None else found.match_share


def _peak(at: Sequence[float], values: Sequence[float]) -> float:
    """Where a parabola through the best of the values and its neighbours is highest."""
    k = int(np.clip(np.argmax(values), 1, len(at) - 2))
    a, b, _ = np.polyfit(np.asarray(at[k - 1 : k + 2]) - at[k], values[k - 1 : k + 2], 2)
    if a >= 0:
        return float(at[int(np.argmax(values))])
    return float(np.clip(at[k] - b / (2 * a), at[0], at[-1]))
