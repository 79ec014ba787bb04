"""When what was seen of the water plane does not fit together: which mark, or which measured thing, is to blame."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from calibration.floor import DEPTH
from calibration.lens import Floats, Lens
from calibration.plane_fit import MarksSeen, PlaneFit, fit_plane

if TYPE_CHECKING:
    from calibration.plane import Seen

_CONTRADICTED = 5.0
"""What was measured and what the pictures say of it may be so many standard deviations apart, no more."""
_SPOILT = 0.4
"""Without a mark that spoils all the misfit is this much smaller."""
_FEWEST_TO_BLAME, _MOST_TO_BLAME = 5, 40
_UNITS, _LIKE_A_UNIT = {"cm": 10.0, "inches": 25.4}, 0.35


def contradicted(fit: PlaneFit, seen: Seen) -> str:
    """What was measured that the pictures flatly deny, as a sentence; empty if nothing."""
    denied = [name for name, one in fit.learnt.items() if abs(one.pull) > _CONTRADICTED]
    if not denied:
        return ""
    if DEPTH not in denied or seen.floor is None:
        cure = "; was the board printed at 100 %? Measure ten of its squares, and" if seen.boards else ": measure"
        return f"{', '.join(denied)}: the pictures do not agree with what was measured{cure} all of these again, in mm"
    name = DEPTH
    one, u_mm, given_mm = fit.learnt[name], float(seen.floor.parts[0, 0]), float(seen.floor.shape[0])
    # what they say without the ruler: its share of the whole is u_off squared
    alone_mm = given_mm + one.off * u_mm / max(1 - one.u_off**2, 1e-3)
    typed = next((unit for unit, mm in _UNITS.items() if abs(alone_mm / (given_mm * mm) - 1) < _LIKE_A_UNIT), "")
    cure = (
        f"was it typed in {typed}? Give it in mm"
        if typed
        else "read it again, in mm; or did the camera move between the two?"
    )
    return (
        f"found a water depth of {given_mm:.0f} mm, and the picture through the water and the dry one say about "
        f"{alone_mm:.0f} mm; {cure}"
    )


def spoiler(seen: Seen, lens: Lens, lens_covariance: Floats | None, fit: PlaneFit) -> str:
    """Which single mark is to blame, as a sentence; empty if none is."""
    pairs = [(g, n) for g, marks in enumerate(seen.marks) for n in range(len(marks.pixels))]
    if not _FEWEST_TO_BLAME <= len(pairs) <= _MOST_TO_BLAME:
        return ""
    trials = []
    for group, index in pairs:
        rest = [_without(marks, index) if g == group else marks for g, marks in enumerate(seen.marks)]
        kept = [marks for marks in rest if len(marks.pixels)]
        again = fit_plane(
            lens, fit.view.pose, marks=kept, boards=seen.boards, boards_at=fit.boards_at,
            lens_covariance=lens_covariance,
        )  # fmt: skip
        trials.append(again.misfit)
    best = int(np.argmin(trials))
    if trials[best] > _SPOILT * fit.misfit:
        return ""
    return (
        f"mark {seen.names[best]} spoils it: measure its place again, see that it is found rightly in the picture, and "
        "that it is not under water"
    )


def _without(marks: MarksSeen, index: int) -> MarksSeen:
    keep = np.arange(len(marks.pixels)) != index
    u_px, u_mm = (np.asarray(u, np.float64) * np.ones(len(keep)) for u in (marks.u_px, marks.u_mm))
    return MarksSeen(
        marks.points_mm[keep], marks.pixels[keep], u_px[keep], u_mm[keep], marks.is_wet,
        None if marks.again_px is None else marks.again_px[keep],
        {name: shift[keep] for name, shift in marks.shared.items()},
    )  # fmt: skip


def named(mistake: str, seen: Seen) -> str:
    """The same words with marks called by their names instead of by their order."""
    if len(seen.marks) != 1 and not seen.boards:
        return mistake

    def name(found: re.Match[str]) -> str:
        index = int(found[1]) - 1
        return f"mark {seen.names[index]}" if 0 <= index < len(seen.names) else found[0]

    return re.sub(r"\bmark (\d+)\b", name, mistake)
