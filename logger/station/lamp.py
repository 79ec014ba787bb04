"""What lamp and buzzer say about a run, from what was decided about it."""

from __future__ import annotations

from collections.abc import Mapping

from logger.drivers.interface import Shown
from logger.recording.folder import Event

AT_FIRST: Shown = "ready"
_AFTER: Mapping[str, Shown] = {
    "armed": "armed",
    "arming_refused": "not_ready",
    "disarmed": "ready",
    "early_start": "trouble",
    "released": "armed",
    "started": "running",
    "passed_mark": "running",
    "ended": "done",
}
"""Event of the referee -> what is shown from then on."""


def shown_after(event: Event) -> Shown | None:
    """What is to be shown after `event`; None: what was shown before."""
    return _AFTER.get(event.event)
