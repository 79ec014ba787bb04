"""Gauges as in a workshop (Taylor's principle, ISO/R 1938): what shall go in goes in, what shall not does not."""

from __future__ import annotations

from typing import Any

TOUCH_MM3 = 1e-3


def goes(part: Any, gauge: Any) -> bool:
    """Whether the gauge has room in the part's hole."""
    return float((part ^ gauge).volume()) < TOUCH_MM3
