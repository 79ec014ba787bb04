"""When a push-button was pressed, from the edges of its contact.

What may live here: one contact and its edges; no clock, no device. A contact bounces for some milliseconds, and a spark
nearby makes a pulse of a microsecond. So edges that follow each other closely are one *group*; what counts is the level
that it ends with, and the moment is that of its first edge. A contact that comes to no rest is not believed.
"""

from __future__ import annotations

STILL_NS = 15_000_000
"""A group is over when nothing came for so long. Contacts bounce for 1 to 10 ms (common practice, no source)."""
LONGEST_NS = 60_000_000
"""A group that lasts longer is no bouncing: a loose wire."""


class Contact:
    """One button."""

    def __init__(self, *, pressed: bool) -> None:
        """`pressed`: as it stands now; who holds it down already does not press it by that."""
        self.pressed = pressed
        self._first_ns: int | None = None
        self._last_ns = 0
        self._level = pressed
        self._presses: list[int] = []
        self.chattered_ns: int | None = None

    @property
    def undecided_ns(self) -> int | None:
        """First edge of the group that is not over yet; None when the contact is at rest."""
        return self._first_ns

    def edge(self, t_ns: int, *, pressed: bool) -> None:
        """The contact closed or opened."""
        self._end_group(t_ns)
        if self._first_ns is None:
            self._first_ns = self._last_ns = t_ns
        self._first_ns, self._last_ns = min(self._first_ns, t_ns), max(self._last_ns, t_ns)
        self._level = pressed

    def past(self, t_ns: int) -> list[int]:
        """No edge up to `t_ns` is missing: the moments of the presses that are certain by now, each told once."""
        self._end_group(t_ns)
        presses, self._presses = self._presses, []
        return presses

    def _end_group(self, t_ns: int) -> None:
        if self._first_ns is None:
            return
        if t_ns - self._last_ns >= STILL_NS:
            if self._level and not self.pressed:
                self._presses.append(self._first_ns)
            self.pressed, self._first_ns = self._level, None
        elif t_ns - self._first_ns >= LONGEST_NS:
            self.chattered_ns, self._first_ns = t_ns, None
