"""Which of the touches that the camera saw count against the run, and how each is told.

Before go a hand may hold the boat, and after the end it may be taken out; only what lies between is told.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.results.case import Case
from logger.results.stretch import Ending, begun_ns
from logger.results.witnesses import Testimony
from logger.vision.track import Touch


def touched(case: Case, heard: Testimony, end: Ending) -> tuple[Touch, ...]:
    """The touches between go (or else the start line, or else arming) and the end of the run."""
    if case.track is None:
        return ()
    if (began_ns := begun_ns(case, heard)) is None:
        began_ns = case.from_ns
    return tuple(touch for touch in case.track.touches if began_ns <= touch.from_ns <= end.t_ns)


def told(touches: Sequence[Touch], case: Case, heard: Testimony) -> list[str]:
    """A sentence for each, in seconds since the last thing that happened before it."""
    return [_sentence(touch, case, heard) for touch in touches]


def _sentence(touch: Touch, case: Case, heard: Testimony) -> str:
    beginnings = [
        (_started_ns(case, heard), "after the start"),
        (case.story.go_ns, "after go"),
        (case.origin_ns, "after the recording began"),
    ]
    zero_ns, since = next(
        (zero_ns, words) for zero_ns, words in beginnings if zero_ns is not None and zero_ns <= touch.from_ns
    )
    first_s, last_s = ((t_ns - zero_ns) / 1e9 for t_ns in (touch.from_ns, touch.to_ns))
    return (
        f"Something touched the boat at {first_s:.1f} s to {last_s:.1f} s {since}: a thing reached its hull, and its "
        f"speed changed by {touch.change_mm_per_s / 1e3:.2f} m/s. Look at the pictures before the run counts."
    )


def _started_ns(case: Case, heard: Testimony) -> int | None:
    return heard.first.t_ns(case.origin_ns) if heard.first else None
