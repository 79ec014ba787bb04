"""Does a number go along with another, in the runs of one boat or of several? What counts as one case is decided here.

Repeats of one boat share all that this boat is, so beside other boats they are not independent: counted as such, a line
is called clear far too often. One boat: each run is a case. Several, each at a place of its own: each boat is a case,
the mean of its runs. Several, each at several places: runs are cases, each boat compared with itself only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from logger.study.cut_short import Way, way
from logger.study.effects import StraightLine, line, within
from logger.study.tongue import _

Through: TypeAlias = Literal["runs", "boats", "each"]
"""What a case is: a run of the one boat, a boat, or a run beside others of its boat."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One run."""

    along: float
    """Where it was, in any unit."""
    value: float
    """What it came to, in any unit."""
    boat: str
    at_least: bool = False
    """Cut short: the truth is so much or more."""


@dataclass(frozen=True, slots=True)
class Trend:
    """What runs say of one number against another."""

    through: Through
    runs_count: int
    boats_count: int
    floors_count: int
    """Runs that were cut short: a plain number. If there are any, no line is told."""
    line: StraightLine | None
    """None if there are too few cases, or runs that were cut short."""
    way: Way | None = None
    """Instead of the line, where runs were cut short."""

    @property
    def sign(self) -> int:
        """1: clearly grows, -1: clearly falls, 0: not to be told; a plain number."""
        if self.way is not None:
            return self.way.sign if self.way.is_clear else 0
        return int(np.sign(self.line.slope)) if self.line is not None and self.line.is_clear else 0

    @property
    def is_told(self) -> bool:
        """Whether there are runs enough to ask."""
        return self.line is not None or self.way is not None


def trend(runs: Sequence[Measured], *, alike: Sequence[str] = (), beside: Sequence[float] = ()) -> Trend:
    """How values go along.

    Args:
        runs: those that count.
        alike: for each run, how something else was set; given, only runs with the same setting are compared, each run a
            case: a question to runs, not an answer about boats.
        beside: for each run, a number that changed too; given, what goes evenly with it is taken out.
    """
    through = through_of([run.along for run in runs], [run.boat for run in runs])
    whole = Trend(
        through, len(runs), len({run.boat for run in runs}), sum(run.at_least for run in runs), line=None
    )  # fmt: skip
    if alike or beside:
        blocks = [
            f"{run.boat if through == 'each' else ''}\n{own}"
            for run, own in zip(runs, alike or [""] * len(runs), strict=True)
        ]
        return _judged(whole, runs, blocks, beside)
    if through == "boats":
        return _judged(whole, one_of_each(runs), [])
    return _judged(whole, runs, [run.boat for run in runs] if through == "each" else [])


def _judged(whole: Trend, cases: Sequence[Measured], blocks: Sequence[str], beside: Sequence[float] = ()) -> Trend:
    along, values = [case.along for case in cases], [case.value for case in cases]
    if not whole.floors_count:
        return replace(whole, line=line(along, values, blocks, beside=beside))
    if len(cases) < 3 or len(set(along)) < 2:
        return whole
    return replace(whole, way=way(along, values, [case.at_least for case in cases], blocks))


def through_of(along: Sequence[float], boats: Sequence[str]) -> Through:
    """What is to be a case: that from which most of the differences along come."""
    if len(set(boats)) < 2:
        return "runs"
    x = np.asarray(along, np.float64)
    off, inside = x - x.mean(), within(x, boats)
    return "each" if 2 * float(inside @ inside) > float(off @ off) else "boats"


def one_of_each(runs: Sequence[Measured]) -> list[Measured]:
    """Each boat as one case: the mean of its runs. With a run in it that was cut short it is a floor."""
    made = []
    for boat in dict.fromkeys(run.boat for run in runs):
        own = [run for run in runs if run.boat == boat]
        along, value = (sum(figures) / len(own) for figures in zip(*((r.along, r.value) for r in own), strict=True))
        made.append(Measured(along, value, boat, any(run.at_least for run in own)))
    return made


def whose(found: Trend) -> str:
    """The cases in words: "these 12 runs", "these 6 boats (each counted once)"."""
    return cases_told(found.through, found.runs_count, found.boats_count)


def cases_told(through: Through, runs_count: int, boats_count: int) -> str:
    """The cases in words."""
    if through == "boats":
        return _("these {n} boats (each counted once)").format(n=boats_count)
    if through == "each":
        return _("these {n} runs (each boat compared with itself)").format(n=runs_count)
    return _("these {n} runs").format(n=runs_count)


def begun(sentence: str) -> str:
    """A sentence with a capital where it begins."""
    return sentence[:1].upper() + sentence[1:]
