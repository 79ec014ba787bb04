"""How a grid, depths, places in a picture and known lengths are written: on a command line and on a page alike.

Each function reads one text and raises ValueError with what was found and what is wanted.
"""

from __future__ import annotations

import math
import re

_NUMBER = r"[-+]?\d{1,6}(?:\.\d+)?"
GATES = "gates"
"""Stands for a length: the gate distance of the rig file."""


def number(text: str) -> float:
    """Any finite number."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"found {text!r}; wanted a number")
    return value


def positive(text: str) -> float:
    """A number above 0."""
    value = number(text)
    if not value > 0:
        raise ValueError(f"found {text!r}; wanted a number above 0")
    return value


def count(text: str) -> int:
    """From 1 to 50."""
    if not re.fullmatch(r"\d{1,3}", text, re.ASCII) or not 1 <= int(text) <= 50:
        raise ValueError(f"found {text!r}; wanted a whole number from 1 to 50")
    return int(text)


def pair(text: str) -> tuple[float, float]:
    """Two numbers with a comma: a place in mm or in pixels."""
    found = re.fullmatch(rf"({_NUMBER}),({_NUMBER})", text, re.ASCII)
    if found is None:
        raise ValueError(f"found {text!r}; wanted two numbers with a comma, such as 210,-40.5")
    return float(found[1]), float(found[2])


def step(text: str) -> tuple[float, float]:
    """From crossing to crossing, mm: one length for both ways, or along x and along y."""
    both = pair(text) if "," in text else (number(text), number(text))
    if not min(both) > 0:
        raise ValueError(f"found {text!r}; wanted lengths above 0, such as 200 or 300,200")
    return both


def grid(text: str) -> tuple[int, int]:
    """Crossings along x and along y."""
    found = re.fullmatch(r"(\d{1,2})x(\d{1,2})", text, re.ASCII)
    if found is None:
        raise ValueError(f"found {text!r}; wanted crossings along x and along y, such as 5x3")
    return int(found[1]), int(found[2])


def depth(text: str) -> tuple[float, tuple[float, float] | None]:
    """A depth of the water, mm, and where it was read if that is said: 98 or 98@0,-150."""
    deep, at, place = text.partition("@")
    return positive(deep), pair(place) if at else None


def length(text: str) -> tuple[float, float]:
    """A length, and its standard uncertainty: of 1000±2 that is 2/√3, the truth lies anywhere within."""
    found = re.fullmatch(rf"({_NUMBER})(?:(?:±|\+-|\+/-)(\d+(?:\.\d+)?))?", text, re.ASCII)
    if found is None or not float(found[1]) > 0:
        raise ValueError(f"found {text!r}; wanted a length in mm such as 1000 or 1000±2, or {GATES}")
    return float(found[1]), float(found[2] or 2.0) / math.sqrt(3)
