"""The lens that `boatrun calibrate lens` finds in what was gathered, and how it is told to a person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calibration import lens_odd
from calibration.board import Board, BoardSeen, CharucoBoard
from calibration.errors import CalibrationError
from calibration.lens import LENS_PARAMETERS, Floats, Lens
from calibration.lens_compare import compare
from calibration.lens_coverage import REGIONS, SIDES, Coverage, coverage
from calibration.lens_fit import refuse_unfit
from calibration.lens_models import Chosen, choose
from calibration.lens_resize import resized
from calibration.lens_stretch import unstretched
from calibration.quantity import concise
from logger.guide.lens_gather import Material
from logger.recording.lens_evidence import last_lens

_SQUARE_PIXELS = 0.005
_MOST_LINES = 12


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The lens and all that was learnt on the way."""

    chosen: Chosen
    lens: Lens
    """For the size that was asked for."""
    covariance: Floats
    """(9, 9) of it."""
    views: Mapping[str, BoardSeen]
    left_out: Mapping[str, str]
    shown: Coverage
    notes: tuple[str, ...]


def found(
    material: Material, board: Board, notes: tuple[str, ...], *, for_size: tuple[int, int] | None, place: str
) -> Found:
    """The lens. CalibrationError with every reason why there is none, and what to do."""
    try:
        refuse_unfit(material.views, place=place)
        straight, shape = unstretched(material.views)
        parted = lens_odd.part(straight, place=place)
        views = parted.views
        chosen = choose(views, flat_mm=material.flat_mm, place=place)
    except CalibrationError as error:
        raise _with_left_out(error, material) from error
    shown = coverage(views, chosen.fit.lens)
    if shown.mistakes:
        raise _with_left_out(CalibrationError(place, shown.mistakes), material)
    lens, covariance = chosen.fit.lens, chosen.fit.covariance
    more: tuple[str, ...] = ()
    if for_size is not None and for_size != (lens.width_px, lens.height_px):
        lens, covariance, more = resized(lens, covariance, width_px=for_size[0], height_px=for_size[1], place=place)
    left_out = {one.name: f"{one.reason} ({one.rms_px:.1f} px off)" for one in parted.odd} | dict(material.left_out)
    doubts = (
        *notes, *shape, *material.notes, *parted.doubts, *more,
        *chosen.doubts, *chosen.fit.doubts, *_pixels(chosen, board),
    )  # fmt: skip
    return Found(chosen, lens, covariance, views, left_out, shown, doubts)


def _with_left_out(error: CalibrationError, material: Material) -> CalibrationError:
    """The same, with what became of the pictures that were not taken, where that may be the reason."""
    if not material.left_out:
        return error
    reasons: dict[str, list[str]] = {}
    for name, reason in material.left_out.items():
        reasons.setdefault(reason, []).append(name)
    each = "; ".join(
        f"{', '.join(names[:3])}{f' and {len(names) - 3} more' if len(names) > 3 else ''}: {reason}"
        for reason, names in sorted(reasons.items(), key=lambda item: -len(item[1]))[:4]
    )
    return CalibrationError(error.place, [*error.mistakes, f"not taken: {each}"])


def _pixels(chosen: Chosen, board: Board) -> tuple[str, ...]:
    lens = chosen.fit.lens
    ratio = lens.fx_px / lens.fy_px
    slope = np.array([1 / lens.fx_px, -1 / lens.fy_px])
    u_ratio = ratio * float(np.sqrt(slope @ chosen.fit.covariance[:2, :2] @ slope))
    if abs(ratio - 1) < max(_SQUARE_PIXELS, 3 * u_ratio):
        return ()
    kind = "7 squares across against 8 up" if isinstance(board, CharucoBoard) else "its squares across against up"
    return (
        f"focal lengths across and up differ by {abs(ratio - 1):.1%}, and pixels of cameras are square: was the board "
        f"stretched in printing? Measure {kind}",
    )


def told(result: Found) -> list[str]:
    """What was found, for a person: views, coverage, parameters, what to know."""
    fit, shown = result.chosen.fit, result.shown
    lines = [f"{len(result.views)} views taken"]
    lines += [f"  not taken: {name}: {reason}" for name, reason in list(result.left_out.items())[:_MOST_LINES]]
    if len(result.left_out) > _MOST_LINES:
        lines.append(f"  not taken: {len(result.left_out) - _MOST_LINES} more, all named in lens.toml")
    lines.append("corners in each part of the picture")
    for names, counts in zip(REGIONS, shown.corners_count, strict=True):
        cells = "".join(f"  {name:>13} {count:5d}" for name, count in zip(names, counts, strict=True))
        lines.append(" " + cells)
    tilts = ", ".join(f"{side} {shown.tilt_deg[side]:.0f}°" for side in SIDES)
    lines.append(f"board tilted, this side away: {tilts}; nearest board fills {shown.near_share:.0%}")
    lines += [f"  to add: {wish}" for wish in shown.advice]
    lines += _model(result.chosen)
    size = f"{result.lens.width_px} x {result.lens.height_px}"
    lines.append(f"lens for pictures of {size}, value (standard uncertainty in its last digits)")
    sd = np.sqrt(np.diag(result.covariance))
    for name, u in zip(LENS_PARAMETERS, sd.tolist(), strict=True):
        if u > 0:
            word, unit = name.removesuffix("_px"), " px" if name.endswith("_px") else ""
            lines.append(f"  {word:<3} {concise(getattr(result.lens, name), u)}{unit}")
    rms = list(fit.rms_px.values())
    worst = max(fit.rms_px, key=lambda name: fit.rms_px[name])
    widened = f"; doubt widened {fit.widened:.2f} times because views disagree" if fit.widened > 1.05 else ""
    lines.append(
        f"corners off by {float(np.sqrt(np.mean(np.square(rms)))):.2f} px (RMS), most in {worst}, "
        f"{fit.rms_px[worst]:.2f} px{widened}"
    )
    return [*lines, *(f"note: {doubt}" for doubt in result.notes)]


def _model(chosen: Chosen) -> list[str]:
    if not chosen.foretold_px:
        return [f"model: {chosen.model.words}"]
    each = ", ".join(
        f"{words.split(' (')[0]} {off:.3f} px" if np.isfinite(off) else f"{words.split(' (')[0]} cannot be fitted"
        for words, off in chosen.foretold_px.items()
    )
    return [
        f"model: {chosen.model.words}",
        f"  how far each model is off in pictures that it was not fitted to: {each}",
    ]


def last(below: Path, result: Found, *, height_mm: float, but: Path | None) -> list[str]:
    """What would change against the newest calibration in `below`."""
    before = last_lens(below, but=but)
    if before is None:
        return ["there is no earlier calibration to compare with"]
    change = compare((before.lens, before.covariance), (result.lens, result.covariance), height_mm=height_mm)
    name = before.path.parent.name
    if change is None:
        return [f"the last calibration ({name}) is for pictures of another size; nothing can be compared"]
    lines = [
        f"against the last one ({name}), camera {height_mm:g} mm above the water:",
        f"  things move by up to {change.moved_px:.1f} px in the picture and {change.moved_mm:.1f} mm on the water",
        f"  by up to {change.left_mm:.2f} mm (u {change.u_left_mm:.2f} mm) once the water plane is calibrated again",
    ]
    if change.is_turned:
        lines.append(
            "note: its optical centre is where the last one's would be if the pictures were turned by half a turn: was "
            "the camera mounted upside down, or were these turned? Pictures of runs must lie in their files as these do"
        )
    if change.is_changed:
        lines.append("note: that is more than the doubts of both allow; was the focus, the zoom or the camera changed?")
    return lines
