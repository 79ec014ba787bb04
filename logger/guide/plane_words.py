"""A calibrated water plane in words, and what is kept of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from logger.config import Rig
    from logger.recording.plane_evidence import PlaneEvidence
    from logger.station.plane_session import PlaneResult

_MOST_SOURCES, _MOST_REMEDIES = 6, 3
_WAYS = {"rim": "marks on the rim", "floor": "marks on the floor", "board": "a floating board"}


def told(result: PlaneResult, in_use: object) -> str:
    """How good it is first, then what it rests on, then what to know; `in_use` is the calibration used so far."""
    from logger.station.plane_session import GOAL_MM

    worst, middle = result.worth.worst_mm, result.worth.median_mm
    x, y = result.worth.worst_at_mm
    verdict = "good" if worst <= GOAL_MM else f"more than the {GOAL_MM:g} mm to aim for"
    lines = [
        f"water plane from {_WAYS[result.wish.way]}: places are good to ± {worst:.1f} mm (95 %) all over the tank: "
        f"{verdict}",
        f"  known worst at x = {x:.0f}, y = {y:.0f} mm: ± {result.worth.worst_place_mm:.1f} mm there, ± {middle:.1f} "
        "mm in the middle of all places",
        *_rests_on(result),
        *_water(result),
        *(f"  check: {check.told()}" for check in result.checks),
        _sources(result),
        *(f"  would help: {one.words}: ± {one.worst_mm:.1f} mm" for one in result.remedies[:_MOST_REMEDIES]),
        *_beside(result, in_use),
    ]
    return "\n".join([*lines, *(f"  note: {doubt}" for doubt in result.doubts)])


def _rests_on(result: PlaneResult) -> Iterator[str]:
    import numpy as np

    pose = result.fit.view.pose
    height = float(pose.camera_mm[2])
    tilt = float(np.degrees(np.arccos(np.clip(-pose.rotation[2, 2], -1, 1))))
    count = sum(len(one.found_px) for one in result.shown)
    yield f"  the camera is {height:.0f} mm above the water, tilted by {tilt:.1f} degrees"
    yield (
        f"  {count} points in {len(result.shown)} picture{'s'[: len(result.shown) > 1]} agree to "
        f"{result.fit.rms_px:.2f} px: {result.fit.misfit:.2f} times what was expected of them"
    )


def _water(result: PlaneResult) -> Iterator[str]:
    from calibration.quantity import plus_minus

    effect = result.effect
    if effect is None:
        return
    depth = plus_minus(effect.depth_mm, 2 * effect.u_depth_mm)
    known = result.fit.learnt.get("water depth")
    by = "by the ruler" if known is None or known.u_off > 0.95 else "by the ruler and by both pictures"
    yield (
        f"  what the water does: it lifts the floor: marks on it are seen up to {effect.moved_mm:.0f} mm farther out "
        f"than when it is dry; taken for the surface they would be up to {effect.off_mm:.0f} mm off, and every length "
        f"{effect.ratio - 1:.1%} too long"
    )
    yield f"  water depth {depth} mm (95 %), {by}"


def _sources(result: PlaneResult) -> str:
    from calibration.plane_worth import sources_at

    parts = list(sources_at(result.fit.view, result.worth.worst_at_mm).items())[:_MOST_SOURCES]
    return "  doubt there (mm, 95 %): " + ", ".join(f"{name} {mm:.2g}" for name, mm in parts)


def _beside(result: PlaneResult, in_use: object) -> Iterator[str]:
    from calibration.files import CameraCalibration
    from calibration.plane_change import change

    if not isinstance(in_use, CameraCalibration):
        return
    found = change(in_use.view, result.fit.view, result.wish.rig.tank.outline_mm)
    if found is not None:
        made = f", made {in_use.date}" if in_use.date else ""
        yield f'  beside the calibration in use ("{in_use.id}"{made}): {found.told()}'


def evidence_of(result: PlaneResult, rig: Rig, at: datetime, *, lens_file: str) -> PlaneEvidence:
    """What is kept of it."""
    import numpy as np

    from logger.recording.plane_evidence import Looked, PlaneEvidence
    from logger.study.plane_map import plane_map
    from logger.study.plane_seen import Spots, plane_seen

    view = result.fit.view
    looked = [
        Looked(
            one.picture, one.names, one.places_mm, one.found_px, one.fitted_px,
            plane_seen(one.picture.grey, view, rig, Spots(one.found_px, one.fitted_px, one.names)),
        )
        for one in result.shown
    ]  # fmt: skip
    spots = {
        (float(x), float(y))
        for one in result.shown
        if one.names or result.wish.way != "board"
        for x, y in one.places_mm
    }
    spots |= {(at_x, at_y) for at_x, at_y, _ in result.fit.boards_at}
    made = f"by {_WAYS[result.wish.way]}, {at:%Y-%m-%d %H:%M}"
    covariance = result.wish.lens_covariance
    return PlaneEvidence(
        view=view,
        lens=result.wish.lens,
        lens_covariance=np.zeros((9, 9)) if covariance is None else covariance,
        looked=looked,
        map_svg=plane_map(rig, result.worth, sorted(spots), made=made),
        words=_evidence(result, rig, lens_file),
        notes=f"water plane by {_WAYS[result.wish.way]}",
    )


def _evidence(result: PlaneResult, rig: Rig, lens_file: str) -> dict[str, object]:
    from logger import __version__

    driver = rig.camera.driver if rig.camera is not None else None
    words: dict[str, object] = {
        "made_by": f"boatrun {__version__} calibrate plane --by {result.wish.way}",
        "rig": rig.name,
        "points_count": sum(len(one.found_px) for one in result.shown),
        "rms_px": round(result.fit.rms_px, 3),
        "misfit": round(result.fit.misfit, 3),
        "worst_mm": round(result.worth.worst_mm, 2),
        "worst_at_mm": [round(value, 1) for value in result.worth.worst_at_mm],
        "median_mm": round(result.worth.median_mm, 2),
        "checks": [check.told() for check in result.checks],
        "doubts": list(result.doubts),
    }
    if driver is not None and "device" in driver.options:
        words["device"] = str(driver.options["device"])
    if lens_file:
        words["lens_file"] = lens_file
    if result.effect is not None:
        words["water_depth_mm"] = round(result.effect.depth_mm, 2)
        words["u_water_depth_mm"] = round(result.effect.u_depth_mm, 2)
    return words
