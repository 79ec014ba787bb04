"""How well does the tracker of the screen and the referee follow a boat while it runs, and at what cost?

    python -m tests.bench.live PLACE                      # every recording below PLACE that has a truth
    python -m tests.bench.live PLACE --only hard --json live.json

For each recording: from go to the end, the error of the fixes that are called measured (median and 95th percentile of
the distance to the true place), the share of pictures without such a fix (lost), the share of those fixes that are
farther off than half the boat's width (wrong), before go too, and how often two measured fixes in a row disagree with
the true way by more than 50 mm (jumps). Then what a referee makes of them, once with the camera alone and once with
the beams: right is a start, a mark or finish within 0.15 s, and an end for the true reason with the true boat not
farther than 30 mm from its true end. CPU per picture includes decoding, and is that of one thread.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.config import Rig
from logger.recording.folder import Recording, load
from logger.recording.video import packets
from logger.records import Edge, Fix, Frame, Key, Record
from logger.station.referee import Referee
from logger.vision.live.scene import reduced
from logger.vision.live.tracker import LiveTracker

Floats = NDArray[np.float64]

NEAR_S = 0.15
END_NEAR_MM = 30.0
JUMP_MM = 50.0
_NO_IMAGE = np.empty((0, 0, 3), np.uint8)


@dataclass(frozen=True, slots=True)
class Figures:
    """One recording."""

    clip: str
    tier: str
    paint: str
    median_mm: float
    p95_mm: float
    heading_deg: float
    """Median of the error."""
    lost_share: float
    wrong_share: float
    """Of the measured fixes between go and the end."""
    wrong_before_share: float
    """Of the pictures before go: measured fixes that are wrong."""
    jumps_count: int
    alone: str
    """What the referee got wrong with the camera alone; empty: nothing."""
    with_beams: str
    cpu_ms: float
    """Per picture, mean."""
    decoding_ms: float
    """Of that: decoding alone, measured again beside it."""


def followed(recording: Recording) -> tuple[list[Fix | None], tuple[float, float]]:
    """The live fix of every picture, and the CPU of a picture, ms: in all, and that of decoding it."""
    rig, view, stamps, video = recording.rig, recording.view, recording.stamps, recording.video
    assert view is not None
    assert stamps is not None
    assert video is not None
    assert rig.camera is not None
    tracker = LiveTracker(view, rig.tank, recording.card.boat, start=rig.line("start"), delay_s=rig.camera.delay_s)
    fixes: list[Fix | None] = []
    spent_ns = decoding_ns = 0
    rows = zip(packets(video), stamps.t_ns, stamps.exposure_ns, stamps.line_ns, strict=False)
    for number, (packet, t_ns, exposure_ns, line_ns) in enumerate(rows):
        frame = Frame(int(t_ns), _NO_IMAGE, number, "camera", int(exposure_ns), int(line_ns), packet)
        began_ns = time.thread_time_ns()
        fixes.append(tracker.feed(frame))
        fed_ns = time.thread_time_ns()
        reduced(frame)
        spent_ns += fed_ns - began_ns
        decoding_ns += time.thread_time_ns() - fed_ns
    return fixes, (spent_ns / len(fixes) / 1e6, decoding_ns / len(fixes) / 1e6)


class Truth:
    """What the simulator tells of one recording."""

    def __init__(self, folder: Path) -> None:
        self.told: dict[str, Any] = json.loads((folder / "truth.json").read_text())
        table = np.genfromtxt(folder / "truth.csv", delimiter=",", names=True)
        table = table[np.isfinite(table["x_mm"])]
        self._t_s = (table["t_ns"].astype(np.int64) - self.told["armed_ns"]) / 1e9
        self._place = np.column_stack([table["x_mm"], table["y_mm"]])
        self._heading = np.unwrap(np.radians(table["heading_deg"]))

    def at(self, t_ns: Sequence[int]) -> tuple[Floats, Floats]:
        """Centroids (N, 2) mm and headings (N,) rad."""
        t_s = (np.asarray(t_ns, np.int64) - self.told["armed_ns"]) / 1e9
        x, y = (np.interp(t_s, self._t_s, self._place[:, k]) for k in (0, 1))
        return np.column_stack([x, y]), np.interp(t_s, self._t_s, self._heading)


def judged(folder: Path, fixes: Sequence[Fix | None], costs: tuple[float, float], recording: Recording) -> Figures:
    """The figures of one recording."""
    truth, stamps = Truth(folder), recording.stamps
    assert stamps is not None
    told = truth.told
    wrong_mm = 0.5 * min(told["boat"]["waterline_length_mm"], told["boat"]["waterline_width_mm"])
    seen = [fix for fix in fixes if fix is not None and fix.quality == "measured"]
    places, headings = truth.at([fix.t_ns for fix in seen])
    found = np.array([(fix.x_mm, fix.y_mm) for fix in seen]).reshape(-1, 2)
    off = np.hypot(*(found - places).T)
    t_ns = np.array([fix.t_ns for fix in seen], np.int64)
    under_way = (t_ns >= told["go_ns"]) & (t_ns <= told["ended_ns"])
    pictures = int(((stamps.t_ns >= told["go_ns"]) & (stamps.t_ns <= told["ended_ns"])).sum())
    before = int((stamps.t_ns < told["go_ns"]).sum())
    turn = np.abs(np.angle(np.exp(1j * (np.radians([fix.heading_deg for fix in seen]) - headings))))
    steps = np.hypot(*np.diff(found - places, axis=0).T) if len(found) > 1 else np.zeros(0)
    part = off[under_way]
    return Figures(
        clip=folder.name,
        tier=told["tier"],
        paint=told["boat"]["paint"],
        median_mm=float(np.median(part)) if len(part) else np.nan,
        p95_mm=float(np.percentile(part, 95)) if len(part) else np.nan,
        heading_deg=float(np.degrees(np.median(turn[under_way]))) if len(part) else np.nan,
        lost_share=1 - min(1.0, len(part) / max(pictures, 1)),
        wrong_share=float(np.mean(part > wrong_mm)) if len(part) else 0.0,
        wrong_before_share=float((off[t_ns < told["go_ns"]] > wrong_mm).sum() / max(before, 1)),
        jumps_count=int((steps > JUMP_MM).sum()),
        alone=refereed(replace(recording.rig, gates=()), recording, fixes, truth),
        with_beams=refereed(recording.rig, recording, fixes, truth),
        cpu_ms=costs[0],
        decoding_ms=costs[1],
    )


def refereed(rig: Rig, recording: Recording, fixes: Sequence[Fix | None], truth: Truth) -> str:
    """What a referee gets wrong who is told the keys, these fixes and the edges of the gates of `rig`."""
    told = truth.told
    gates = {gate.name for gate in rig.gates}
    records: list[Record] = [Key(told["armed_ns"], "arm", "panel"), Key(told["go_ns"], "go", "panel")]
    records += [fix for fix in fixes if fix is not None]
    records += [edge for edge in recording.edges if isinstance(edge, Edge) and edge.gate in gates]
    referee = Referee(card=recording.card, rig=rig)
    records.sort(key=lambda record: record.t_ns)
    for record in records:
        referee.feed(record)
    referee.no_more(records[-1].t_ns + 1_500_000_000)
    return "; ".join(_faults(referee, truth))


def _faults(referee: Referee, truth: Truth) -> list[str]:
    told = truth.told
    happened = {event.event: event.t_ns for event in referee.history}
    crossed = {crossing["line"]: crossing["t_ns"] for crossing in told["crossings"]}
    found = []
    for line, event in (("start", "started"), ("mark", "passed_mark")):
        if line in crossed and event not in happened:
            found.append(f"no {event}")
        elif line in crossed and abs(late_s := (happened[event] - crossed[line]) / 1e9) > NEAR_S:
            found.append(f"{event} {late_s:+.2f} s")
    ended_ns, reason = referee.ended_ns, referee.end_reason
    if ended_ns is None:
        return [*found, "no end"]
    late_s = (ended_ns - told["ended_ns"]) / 1e9
    if reason != told["end_reason"]:
        return [*found, f"{reason} for {told['end_reason']} {late_s:+.1f} s"]
    rested_ns = ended_ns - (told["ended_ns"] - told["end_ns"])
    away_mm = float(np.hypot(*(truth.at([rested_ns])[0][0] - told["end_mm"])))
    if away_mm > END_NEAR_MM or (reason == "finish" and abs(late_s) > NEAR_S):
        found.append(f"ended {late_s:+.2f} s, {away_mm:.0f} mm away")
    return found


def table(rows: Sequence[Figures]) -> str:
    """One line a recording, and the means of each tier and of each paint."""
    head = "clip              paint   median  p95   head  lost  wrong before jumps  cpu (decod)  alone | with beams"
    lines = [head, *map(_line, rows)]
    for kind in ("tier", "paint"):
        groups: dict[str, list[Figures]] = defaultdict(list)
        for row in rows:
            groups[getattr(row, kind)].append(row)
        lines += [_sum(name, group) for name, group in groups.items()]
    return "\n".join([*lines, _sum("all", rows)])


def _line(row: Figures) -> str:
    return (
        f"{row.clip:17} {row.paint:7} {row.median_mm:5.1f} {row.p95_mm:6.1f} {row.heading_deg:5.1f} "
        f"{row.lost_share:5.1%} {row.wrong_share:5.1%} {row.wrong_before_share:5.1%} {row.jumps_count:4d} "
        f"{row.cpu_ms:5.2f} {row.decoding_ms:5.2f}  {row.alone or 'right'} | {row.with_beams or 'right'}"
    )


def _sum(name: str, rows: Sequence[Figures]) -> str:
    def mean(what: str) -> float:
        return float(np.nanmean([getattr(row, what) for row in rows]))

    alone, beams = (sum(not getattr(row, what) for row in rows) for what in ("alone", "with_beams"))
    return (
        f"{name:10} {len(rows):3d} clips: median {mean('median_mm'):.1f} mm, p95 {mean('p95_mm'):.1f} mm, "
        f"heading {mean('heading_deg'):.1f} deg, lost {mean('lost_share'):.1%}, wrong {mean('wrong_share'):.2%}, "
        f"before go {mean('wrong_before_share'):.1%}, jumps {sum(row.jumps_count for row in rows)}, "
        f"cpu {mean('cpu_ms'):.2f} ms, decoding {mean('decoding_ms'):.2f}; right: alone {alone}, with beams {beams}"
    )


def main() -> None:
    """Follow, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("place", type=Path, help="where the recordings with their truth are")
    parser.add_argument("--only", default="", help="part of the folders' names")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    rows = []
    for told in sorted(asked.place.glob(f"*{asked.only}*/truth.json")):
        recording = load(told.parent)
        fixes, costs = followed(recording)
        rows.append(judged(told.parent, fixes, costs, recording))
    print(table(rows))
    if asked.json is not None:
        asked.json.write_text(json.dumps([asdict(row) for row in rows], indent=1))


if __name__ == "__main__":
    main()
