"""One clip: what measuring it came to, beside its truth."""

from __future__ import annotations

import csv
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Line, Rig
from logger.recording.folder import Recording, load
from logger.results.measure import conclude
from logger.results.trial import Result, Trial
from logger.vision.track import MEASURED, Track
from logger.vision.tracker import track_boat
from tests.bench.vision.recipes import ONLY_SQUARES, RECIPES, RecipeFigures, cooked, given

Floats = NDArray[np.float64]
SILENT_MM = 10.0
ALL_RECIPES = (*RECIPES, *ONLY_SQUARES)


@dataclass(frozen=True, slots=True)
class Figures:
    """One clip."""

    clip: str
    tier: str
    tag: str
    """none, square or disc."""
    boat: str
    """Its paint."""
    kind: str
    """drift or straight."""
    frames_count: int
    rms_mm: float
    p95_mm: float
    most_mm: float
    lost_share: float
    doubtful_share: float
    """Of the fixes, those not called measured."""
    silent_share: float
    """Of all pictures: wrong by more than 10 mm and called measured."""
    within_2u_share: float
    """Of both coordinates of all fixes."""
    mean_u_mm: float
    drift_mm: float | None
    crossings_ms: tuple[float, ...]
    path_share: float | None
    decode_s: float
    measure_s: float
    speed_share: float
    """Time of decoding only over time of measuring."""
    trouble: str
    recipes: tuple[RecipeFigures, ...]
    apart_mm: tuple[float, ...]
    """Every fix's distance from the truth."""
    sure: tuple[bool, ...]
    """Whether that fix is called measured."""

    @property
    def group(self) -> str:
        """Which boats it is told with."""
        if self.tag != "none":
            return self.tag
        return "foil or white" if self.boat in {"foil", "white"} else "coloured or dark"


def truth_of(folder: Path) -> tuple[dict[str, Any], Floats]:
    """truth.json, and truth.csv as (N, 8): frame, t_ns, x, y, heading, bow x, bow y, speed."""
    facts = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with (folder / "truth.csv").open(encoding="utf-8") as file:
        rows = [[float(value) for value in row.values()] for row in csv.DictReader(file)]
    return facts, np.array(rows)


def off_mm(track: Track, true: Floats) -> Floats:
    """(N, 2) fix less truth at the fix's own time."""
    t = track.t_ns.astype(np.float64)
    x, y = np.interp(t, true[:, 1], true[:, 2]), np.interp(t, true[:, 1], true[:, 3])
    return np.column_stack([track.x_mm - x, track.y_mm - y])


def two_u_mm(track: Track) -> Floats:
    """(N, 2) two standard uncertainties of each coordinate, noise and shifts together."""
    lasting = sum((shift**2 for shift in track.shifts_mm.values()), np.zeros((len(track.t_ns), 2)))
    return 2 * np.sqrt(track.noise_mm2[:, [0, 1], [0, 1]] + lasting)


def judge(folder: Path, *, recipes: Sequence[str] = ()) -> Figures:
    """Measure one clip and compare it with its truth; the same with stock recipes, those that can have an answer."""
    recording = load(folder)
    facts, true = truth_of(folder)
    decode_s = decoding_s(recording)
    began = time.process_time()
    track = track_boat(recording, recording.rig)
    measure_s = time.process_time() - began
    if isinstance(track, Track) and recording.rig.camera is not None:
        late_ns = round(recording.rig.camera.delay_s * 1e9) - facts["camera"]["delay_ns"]
        track = replace(track, t_ns=track.t_ns + late_ns)
    found = track if isinstance(track, Track) else None
    off = np.zeros((0, 2)) if found is None else off_mm(found, true)
    sure = np.zeros(0, bool) if found is None else found.quality == MEASURED
    two = np.zeros((0, 2)) if found is None else two_u_mm(found)
    apart = np.hypot(*off.T)
    drift, crossings, path = of_trial(recording, track, facts)
    tag = facts["boat"].get("tag")
    able = [name for name in recipes if name not in ONLY_SQUARES or (tag is not None and tag["kind"] == "square")]
    told = given(recording, facts, true) if able else None
    cook = [cooked(name, told, true, decode_s=decode_s, silent_mm=SILENT_MM) for name in able if told is not None]
    return Figures(
        clip=folder.name, tier=facts["tier"], tag="none" if tag is None else tag["kind"],
        boat=facts["boat"]["paint"], kind=facts["kind"], frames_count=len(true),
        rms_mm=rms(apart), p95_mm=percentile(apart, 95), most_mm=percentile(apart, 100),
        lost_share=1 - len(off) / len(true), doubtful_share=float(1 - sure.mean()) if len(sure) else 0.0,
        silent_share=float(((apart > SILENT_MM) & sure).sum() / len(true)),
        within_2u_share=float((np.abs(off) < two).mean()) if len(off) else 0.0,
        mean_u_mm=float(two.mean() / 2) if len(two) else 0.0,
        drift_mm=drift, crossings_ms=crossings, path_share=path,
        decode_s=decode_s, measure_s=measure_s, speed_share=decode_s / measure_s,
        trouble="" if found is not None else str(getattr(track, "reason", "")),
        recipes=tuple(cook), apart_mm=tuple(np.round(apart, 4).tolist()), sure=tuple(sure.tolist()),
    )  # fmt: skip


def rms(apart_mm: Floats) -> float:
    """Root of the mean square, nan of nothing."""
    return float(np.sqrt((apart_mm**2).mean())) if len(apart_mm) else float("nan")


def percentile(values: Floats, percent: float) -> float:
    """As NumPy's, nan of nothing."""
    return float(np.percentile(values, percent)) if len(values) else float("nan")


def of_trial(
    recording: Recording, track: Any, facts: dict[str, Any]
) -> tuple[float | None, tuple[float, ...], float | None]:
    """Errors of drift (mm), of the lines' crossings (ms) and of the path (share), by the camera alone."""
    trial: Trial = conclude(replace(recording, edges=()), exact(recording.rig, facts), track).trial
    true_ns = {crossing["line"]: crossing["t_ns"] for crossing in facts["crossings"]}
    crossings = tuple((c.t_ns - true_ns[c.line]) / 1e6 for c in trial.crossings if c.line in true_ns)

    def error(name: str) -> float | None:
        answer, value = trial.results.get(name), facts.get(name)
        if not isinstance(answer, Result) or answer.at_least or value is None:
            return None
        return answer.quantity.value - float(value)

    path = error("path_mm")
    return error("drift_mm"), crossings, None if path is None else path / facts["path_mm"]


def exact(rig: Rig, facts: dict[str, Any]) -> Rig:
    """The rig with lines where they truly are."""
    truth = {line["name"]: line for line in facts["lines"]}

    def end(line: Line, y_mm: float) -> tuple[float, float]:
        turn = np.radians(truth[line.name]["normal_deg"])
        return float((truth[line.name]["place_mm"] - y_mm * np.sin(turn)) / np.cos(turn)), y_mm

    lines = (replace(line, a_mm=end(line, line.a_mm[1]), b_mm=end(line, line.b_mm[1])) for line in rig.lines)
    return replace(rig, lines=tuple(lines))


def decoding_s(recording: Recording) -> float:
    """CPU time of OpenCV's own reader, every frame to BGR."""
    reader = cv2.VideoCapture(str(recording.video))
    began = time.process_time()
    while reader.read()[0]:
        pass
    spent = time.process_time() - began
    reader.release()
    return spent
