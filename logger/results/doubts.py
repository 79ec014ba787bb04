"""What made us doubt, one sentence each. A sentence says what was seen, and where it helps, what it may mean."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from logger.config import Boat
from logger.results.crossings import Agreement
from logger.results.motion import Motion
from logger.results.passages import Passage
from logger.vision.track import BRIDGED, DOUBTFUL, Track

GAP_S = 0.5
"""A boat unseen for longer than this is worth a sentence."""
_NOISE_FACTOR = 1.5
_LEAST_SHARE, _MOST_SHARE = 0.5, 1.5
"""The stretch of boat that broke the beam, as a share of the card's length: sails and a slanting pass change it."""


def of_passages(passages: Mapping[str, Sequence[Passage]], *, origin_ns: int) -> list[str]:
    """Odd edges of every gate."""
    words = {
        "short": "Gate {gate}: the beam broke for only {ms:.1f} ms at {t:.3f} s; too short for a boat, left out.",
        "edges_lost": "Gate {gate}: an edge is missing near {t:.3f} s; the gate's driver or cable lost it.",
        "blocked_before": "Gate {gate}: the beam was already broken when the recording began; nothing before "
        "{t:.3f} s counts there.",
        "still_blocked": "Gate {gate}: the beam broke at {t:.3f} s and did not become clear again.",
    }
    return [
        words[doubt].format(gate=gate, ms=p.blocked_s * 1e3, t=(p.t_ns - origin_ns) / 1e9)
        for gate, found in passages.items()
        for p in found
        for doubt in p.doubts
    ]


def of_early_start(gap_s: float) -> str:
    """The start beam broke before go."""
    return f"Early start: the start beam broke {gap_s:.3f} s before go. The time counts from that break."


def of_second_start(gate: str, count: int, *, before_count: int = 0) -> str:
    """The start beam broke several times before the end; `before_count` of them do not count."""
    broken = f"Gate {gate}: broken {count} times before the end of the run"
    if before_count:
        return f"{broken}; number {before_count + 1} counts: only then as much went through as the boat is long."
    return f"{broken}; the first counts. The boat may have turned back."


def of_length(passage: Passage, seen_mm: float | None, boat: Boat, *, from_rest_over_mm: float = 0.0) -> list[str]:
    """What went through the beam while it was broken should be about as long as the boat.

    Args:
        passage: of the beam.
        seen_mm: how much went through; None: nobody knows.
        boat: its card.
        from_rest_over_mm: `seen_mm` was made with the mean speed over this way, though the boat may have set off in the
            beam. Gathering way evenly a boat of length L then takes as long as makes sqrt(way·L) of it (v² = 2·a·s).
    """
    if boat.length_mm is None or seen_mm is None or "edges_lost" in passage.doubts:
        return []
    longest_mm = max(boat.length_mm, math.sqrt(from_rest_over_mm * boat.length_mm))
    if _LEAST_SHARE * boat.length_mm <= seen_mm <= _MOST_SHARE * longest_mm:
        return []
    return [
        f"Gate {passage.gate}: broken for {passage.blocked_s:.2f} s, which makes about {seen_mm:.0f} mm of boat; the "
        f"card says {boat.length_mm:.0f} mm. It may have been a hand, or an edge is missing."
    ]


def of_agreement(found: Agreement) -> list[str]:
    """Gate and camera on one line."""
    if found.holds:
        return []
    later = "later" if found.difference_s > 0 else "earlier"
    return [
        f"At the {found.line} line the gate is {abs(found.difference_s):.3f} s {later} than the camera, "
        f"{found.normalised:.1f} times their joint doubt. The gate's moment is used, with this difference as further "
        "doubt; check the gate's place and the camera's delay."
    ]


def of_unseen(gate: str, line: str) -> str:
    """The camera saw a crossing that the gate missed."""
    return f"Gate {gate} saw nothing when the camera saw the bow reach the {line} line; the camera's moment is used."


def of_trouble(gate: str, line: str) -> str:
    """The gate's driver reported trouble at the very moment of the crossing."""
    return (
        f"Gate {gate}: its driver reported trouble when the bow reached the {line} line; the camera's moment is used."
    )


def of_other_than_bow(passage: Passage, past_mm: float, *, origin_ns: int) -> str:
    """A beam broke while the bow was elsewhere, `past_mm` past it by the camera."""
    at_s, side = (passage.t_ns - origin_ns) / 1e9, "past it" if past_mm > 0 else "before it"
    where = f"when the bow was {abs(past_mm):.0f} mm {side}"
    return f"Gate {passage.gate}: broken at {at_s:.3f} s, {where}; perhaps a hand, or the rigging. Not counted."


def of_standing(line: str) -> str:
    """A beam that broke while the boat hardly moved: the gate says little of when the bow was at the line."""
    how = "while the boat hardly moved, and not by its bow"
    return f"At the {line} line the beam broke {how}; the camera's moment is used."


def of_track(track: Track, motion: Motion) -> list[str]:
    """Gaps, lost frames, and scatter of the positions."""
    sentences = list(track.flags)
    seen_s = motion.time_s[track.quality != BRIDGED]
    gaps = np.diff(seen_s)
    sentences += [
        f"The boat was not seen for {gap:.1f} s, {since:.1f} s after it was first seen."
        for gap, since in zip(gaps, seen_s[:-1], strict=True)
        if gap > GAP_S
    ]
    if doubtful := int((track.quality == DOUBTFUL).sum()):
        sentences.append(
            f"In {doubtful} of {len(track.t_ns)} pictures what was taken for the boat may be something else."
        )
    if motion.noise > _NOISE_FACTOR**2:
        sentences.append(
            f"The positions scatter {motion.noise**0.5:.1f} times as much as the tracker expected; the doubts are "
            "widened by as much."
        )
    return sentences


def of_at_least(reason: str) -> str:
    """A coast that was cut off."""
    ends = {
        "wall": "The coast ended at the wall; without it the boat would have gone on, so the drift is a lower bound.",
        "time_cap": "The time was up before the boat was at rest, so the drift is a lower bound.",
        "stopped_by_hand": "The run was stopped before the boat was at rest, so the drift is a lower bound.",
        "recording_ended": "The recording ended before the boat was at rest, so the drift is a lower bound.",
    }
    return ends[reason]


def of_wide_crossing(line: str) -> str:
    """The bow went past the line's end."""
    return f"The bow passed beside the end of the {line} line, not over it."
