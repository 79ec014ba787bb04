"""What `boatrun calibrate lens` leaves behind: a new, dated folder with the lens and all its evidence."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np

from calibration.board import Board, BoardSeen
from calibration.files import write_lens
from calibration.lens_solve import linear
from logger import __version__
from logger.guide.lens_found import Found
from logger.guide.lens_gather import Material
from logger.recording.lens_evidence import LENS_FILE, write_corners, write_picture, write_views
from logger.recording.light_evidence import new_evidence_folder
from logger.study.lens_picture import lens_picture


def kept(below: Path, result: Found, board: Board, material: Material, *, at: datetime, ruler_mm: float | None) -> Path:
    """Write everything into a new folder below `below`; the folder."""
    folder = new_evidence_folder(below, at, kind="lens")
    fit = result.chosen.fit
    off = [
        linear(fit.lens, view, pose)[0].reshape(-1, 2)
        for view, pose in zip(_fitted(result).values(), fit.poses, strict=True)
    ]
    write_corners(folder, _fitted(result), off)
    write_views(folder, ((name, picture) for name, picture in material.pictures if name in result.views))
    title = f"Lens calibration {folder.name.removeprefix('lens-')}: where the boards were"
    write_picture(folder, lens_picture(_fitted(result), off, result.shown, title=title))
    evidence = _evidence(result, board, material, ruler_mm)
    write_lens(
        folder / LENS_FILE,
        result.lens,
        result.covariance,
        calibration_id=folder.name,
        date=at.isoformat(timespec="seconds"),
        notes=" | ".join(result.notes),
        evidence=evidence,
    )
    return folder


def _fitted(result: Found) -> dict[str, BoardSeen]:
    """Without those that repeat another one to a fraction of a pixel."""
    return {name: view for name, view in result.views.items() if name in result.chosen.fit.rms_px}


def _evidence(result: Found, board: Board, material: Material, ruler_mm: float | None) -> dict[str, object]:
    fit = result.chosen.fit
    views: list[dict[str, object]] = []
    for name, view in _fitted(result).items():
        entry: dict[str, object] = {
            "name": name,
            "corners_count": len(view.pixels),
            "rms_px": round(fit.rms_px[name], 4),
        }
        if name in material.qualities:
            entry["edge_px"] = round(material.qualities[name].edge_px, 2)
        if name in material.digests:
            entry["sha256"] = material.digests[name]
        views.append(entry)
    said: dict[str, object] = {
        "source": material.source,
        "software": f"boatrun {__version__}",
        "board": repr(board),
        "flat_mm": material.flat_mm,
        "model": result.chosen.model.words,
        "foretold_px": {words: round(off, 4) for words, off in result.chosen.foretold_px.items() if np.isfinite(off)},
        "covered_share": round(fit.covered_share, 3),
        "widened": round(fit.widened, 3),
        "left_out": dict(result.left_out),
        "views": views,
    }
    return said if ruler_mm is None else {**said, "ruler_mm": ruler_mm}
