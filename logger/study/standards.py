"""Which open standards of schools these pages serve, by code, in our own words.

The codes are those of the Next Generation Science Standards (nextgenscience.org); their texts belong to their owners
and are not repeated here.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.study.tongue import _

ADDRESS = "https://www.nextgenscience.org/pe/"


@dataclass(frozen=True, slots=True)
class Standard:
    """One performance expectation."""

    code: str
    words: str
    """What it asks for, in our words."""
    served_by: str
    """What here serves it."""


def standards(band: str) -> tuple[Standard, ...]:
    """Those of an age band."""
    return {"2-3": _youngest, "4-5": _middle, "6-8": _oldest}[band]()


def _youngest() -> tuple[Standard, ...]:
    return (
        Standard("K-2-ETS1-3", _("Test two designs and say what each is good and bad at."), _("the dots of two boats")),
        Standard(
            "3-PS2-2",
            _("Measure how a thing moves and use the pattern to say what comes next."),
            _("dots at equal times; say it first"),
        ),
    )


def _middle() -> tuple[Standard, ...]:
    return (
        Standard(
            "3-5-ETS1-1",
            _("Say what the boat must do and what the limits are."),
            _("the sheet of rules and limits"),
        ),
        Standard("3-5-ETS1-2", _("Make several designs and compare them against that."), _("the boat design record")),
        Standard(
            "3-5-ETS1-3",
            _("Plan fair tests, change one thing at a time, look for what fails."),
            _("before and after; runs that did not finish"),
        ),
        Standard(
            "4-PS3-1",
            _("Connect how fast a thing is with its energy, by evidence."),
            _("drift against the speed at the line"),
        ),
    )


def _oldest() -> tuple[Standard, ...]:
    return (
        Standard(
            "MS-PS2-2",
            _("Plan a test of how force and mass change a motion, in one dimension."),
            _("drift against mass; position and speed against time"),
        ),
        Standard(
            "MS-PS3-1",
            _("Use graphs to tell how energy of motion goes with mass and with speed."),
            _("the scatter graphs"),
        ),
        Standard(
            "MS-ETS1-2", _("Judge designs against each other by a fixed way of testing."), _("the class comparison")
        ),
        Standard(
            "MS-ETS1-3",
            _("Use test data to bring together what was best in several designs."),
            _("the class comparison and the design record"),
        ),
        Standard(
            "MS-ETS1-4",
            _("Make a model, test it again and again, and improve it."),
            _("before and after; the curve of the coast"),
        ),
    )
