"""Measure what the rig has to know about itself, one thing at a time; `boatrun calibrate WHAT --help` tells more."""

from __future__ import annotations

import argparse

from logger.cli import inner

TARGETS = {
    "all": "everything, step by step: what is done, what is next, what is old",
    "lens": "focal length, centre and bend of the lens, from pictures of a printed board",
    "plane": "where the camera stands over the water, from marks, a floor grid or a floating board",
    "lines": "where lines, beams and zones are: typed, by rim marks, or pointed at in a picture",
    "gates": "where the beams of the gates are, from a check boat pulled through them",
    "light": "how late the camera's stamps are, from a light that blinks in its picture",
}
"""What can be calibrated -> what for; each is a module `calibrate_<name>` beside this one, like a command."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments: what to calibrate, and what that needs."""
    inner.describe(parser, TARGETS, prefix="calibrate", title="what can be calibrated")


def run(arguments: argparse.Namespace) -> int:
    """Calibrate it."""
    return inner.run(arguments, prefix="calibrate")
