"""Clips together: by tier and kind of boat, and the recipes by tier."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.bench.vision.figures import ALL_RECIPES, Figures, percentile, rms

GROUPS = ("square", "disc", "coloured or dark", "foil or white")
OURS = "boatrun"
Floats = NDArray[np.float64]


def rows(figures: Iterable[Figures]) -> list[str]:
    """A heading and a line for each clip."""
    lines = [
        f"{'clip':24} {'boat':7} {'rms':>6} {'p95':>6} {'max':>6} {'lost':>5} {'doubt':>5} {'silent':>6} {'in 2u':>5}"
        f" {'drift':>6} {'crossing ms':>14} {'path %':>6} {'speed':>5}"
    ]
    for f in figures:
        crossing = " ".join(f"{ms:+.1f}" for ms in f.crossings_ms)
        drift = "" if f.drift_mm is None else f"{f.drift_mm:+.2f}"
        path = "" if f.path_share is None else f"{100 * f.path_share:+.2f}"
        lines.append(
            f"{f.clip:24} {f.boat:7} {f.rms_mm:6.2f} {f.p95_mm:6.2f} {f.most_mm:6.2f} {f.lost_share:5.1%}"
            f" {f.doubtful_share:5.1%} {f.silent_share:6.1%} {f.within_2u_share:5.0%} {drift:>6} {crossing:>14}"
            f" {path:>6} {f.speed_share:5.2f} {f.trouble}"
        )
    return lines


def pooled(figures: Sequence[Figures]) -> dict[str, Any]:
    """What clips come to together. Pictures count alike, whichever clip they are of; nan where there is nothing."""
    found = [f for f in figures if not f.trouble]
    apart, sure = _joined(f.apart_mm for f in found), _joined(f.sure for f in found).astype(bool)
    pictures = sum(f.frames_count for f in figures)
    drifts = np.abs(_joined([[f.drift_mm] for f in found if f.drift_mm is not None]))
    crossings = np.abs(_joined(f.crossings_ms for f in found))
    paths = _joined([[f.path_share] for f in found if f.path_share is not None])
    return {
        "clips_count": len(figures),
        "clips_not_found_count": len(figures) - len(found),
        "clips_doubtful_count": sum(f.doubtful_share >= 1 for f in found),
        "pictures_count": pictures,
        "rms_mm": rms(apart),
        "p95_mm": percentile(apart, 95),
        "sure_rms_mm": rms(apart[sure]),
        "sure_p95_mm": percentile(apart[sure], 95),
        "lost_percent": 100 * (1 - len(apart) / pictures),
        "doubtful_percent": 100 * float((~sure).sum()) / pictures,
        "silent_percent": 100 * sum(f.silent_share * f.frames_count for f in figures) / pictures,
        "within_2u_percent": 100 * sum(f.within_2u_share * len(f.apart_mm) for f in found) / max(1, len(apart)),
        "drift_runs_count": sum(f.kind == "drift" for f in figures),
        "drifts_count": len(drifts),
        "drift_median_mm": percentile(drifts, 50),
        "drift_worst_mm": percentile(drifts, 100),
        "crossings_count": len(crossings),
        "crossing_median_ms": percentile(crossings, 50),
        "crossing_p95_ms": percentile(crossings, 95),
        "path_bias_percent": 100 * float(paths.mean()) if len(paths) else float("nan"),
        "path_median_percent": 100 * percentile(np.abs(paths), 50),
        "speed_share": sum(f.decode_s for f in figures) / sum(f.measure_s for f in figures),
    }


def pooled_recipe(figures: Sequence[Figures], recipe: str) -> dict[str, Any] | None:
    """What a stock recipe comes to on these clips; None if it was not run."""
    pairs = [(f, r) for f in figures for r in f.recipes if r.recipe == recipe]
    if not pairs:
        return None
    pictures = sum(f.frames_count for f, _ in pairs)
    apart = _joined(r.apart_mm for _, r in pairs)
    return {
        "clips_count": len(pairs),
        "rms_mm": rms(apart),
        "p95_mm": percentile(apart, 95),
        "lost_percent": 100 * (1 - len(apart) / pictures),
        "silent_percent": 100 * sum(r.silent_share * f.frames_count for f, r in pairs) / pictures,
        "speed_share": sum(f.decode_s for f, _ in pairs) / sum(r.spent_s for _, r in pairs),
    }


def summary(figures: Sequence[Figures]) -> list[dict[str, Any]]:
    """For every tier and kind of boat a row; one more without them where some runs are marked doubtful as a whole; one
    for each stock recipe that was run.
    """
    found = []
    for tier in dict.fromkeys(f.tier for f in figures):
        for group in GROUPS:
            some = [f for f in figures if f.tier == tier and f.group == group]
            clear = [f for f in some if not f.trouble and f.doubtful_share < 1]
            if some:
                found.append({"tier": tier, "boats": group, "by": OURS, **pooled(some)})
            if clear and len(clear) < len(some):
                found.append({"tier": tier, "boats": group, "by": f"{OURS}, unmarked", **pooled(clear)})
            for recipe in ALL_RECIPES:
                cooked = pooled_recipe(some, recipe)
                if cooked is not None:
                    found.append({"tier": tier, "boats": group, "by": recipe, **cooked})
    return found


def table(figures: Sequence[Figures]) -> str:
    """The summary, to be read."""
    lines = [
        f"{'tier':10}{'boats':18}{'by':18}{'clips':>5}{'rms':>7}{'p95':>7}{'sure':>7}{'lost%':>7}{'doubt%':>7}{'silent%':>8}"
        f"{'in 2u%':>7}{'drift mm':>15}{'crossing ms':>14}{'path%':>8}{'speed':>6}"
    ]
    for row in summary(figures):
        line = f"{row['tier']:10}{row['boats']:18}{row['by']:18}{row['clips_count']:5}"
        line += f"{_n(row['rms_mm'])}{_n(row['p95_mm'])}"
        if "within_2u_percent" in row:
            drift = f"{row['drift_median_mm']:.2f}/{row['drift_worst_mm']:.1f} ({row['drifts_count']})"
            drift = drift if row["drifts_count"] else "–"
            crossing = f"{row['crossing_median_ms']:.1f}/{row['crossing_p95_ms']:.1f}"
            crossing = crossing if row["crossings_count"] else "–"
            line += (
                f"{_n(row['sure_rms_mm'])}{row['lost_percent']:7.1f}{row['doubtful_percent']:7.1f}"
                f"{row['silent_percent']:8.2f}{row['within_2u_percent']:7.1f}{drift:>15}{crossing:>14}"
                f"{row['path_bias_percent']:+8.2f}{row['speed_share']:6.2f}"
            )
        else:
            line += (
                f"{'':7}{row['lost_percent']:7.1f}{'':7}{row['silent_percent']:8.2f}{'':44}{row['speed_share']:6.2f}"
            )
        lines.append(line)
    lines.append(
        "\nrms, p95, sure: mm, of all pictures held, and of those called measured; silent: wrong by > 10 mm and called "
        "measured (recipes: wrong);\ndrift, crossing: middle/worst (runs), middle/95th percentile; path: mean error; "
        "unmarked: without runs that are doubtful as a whole; speed: time of decoding only over time of measuring"
    )
    return "\n".join(lines)


def _joined(parts: Iterable[Sequence[Any]]) -> Floats:
    every = [np.asarray(part, float) for part in parts]
    return np.concatenate(every) if every else np.zeros(0)


def _n(value_mm: float) -> str:
    return f"{value_mm:7.2f}"
