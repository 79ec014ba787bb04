"""A measured recording as pages need it; for a simulated one, with the truth that stands beside it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from logger.errors import InputError
from logger.recording.folder import Recording
from logger.results.measure import Outcome
from logger.results.monte_carlo import Drawn
from logger.study.leaf import Run
from logger.study.series import series_of, zero_of

TRUTH_FORMAT = "boatrun-truth/1"


def run_of(recording: Recording, outcome: Outcome, drawn: Mapping[str, Drawn] | None = None) -> Run:
    """What a page shows of one recording; `drawn`: by which its doubts were checked.

    Raises:
        InputError: it is simulated and has a truth.json that is none.
    """
    rig, trial, motion = recording.rig, outcome.trial, outcome.motion
    return Run(
        card=recording.card,
        rig=rig,
        trial=trial,
        series=None if motion is None else series_of(motion, trial, rig),
        zero_ns=zero_of(trial, rig, motion)[0],
        truth=_truth(recording) if trial.simulated else {},
        drawn=drawn or {},
    )


def known(truth: Mapping[str, Any]) -> dict[str, float]:
    """The true values of results, under their names and in their units, that a truth.json tells."""
    values = {name: float(truth[name]) for name in ("drift_mm", "path_mm") if truth.get(name) is not None}
    crossings = truth.get("crossings", ())
    if len(crossings) == 2:
        first, last = crossings
        values["time_s"] = (last["t_ns"] - first["t_ns"]) / 1e9
        values["time_from_go_s"] = (last["t_ns"] - truth["go_ns"]) / 1e9
        values["speed_at_line_m_per_s"] = last["speed_mm_per_s"] / 1000
    return values


def _truth(recording: Recording) -> dict[str, float]:
    path = recording.folder / "truth.json"
    if not path.is_file():
        return {}
    try:
        truth = json.loads(path.read_text(encoding="utf-8"))
        if truth["format"] != TRUTH_FORMAT:
            raise ValueError(f"format {truth['format']!r}")
        return known(truth)
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path}: {error}; wanted {TRUTH_FORMAT}; take the file away to do without it") from None
