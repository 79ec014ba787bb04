"""Sheets to print, as PDF files at true scale; `boatrun print WHAT --help` tells more."""

from __future__ import annotations

import argparse

from logger.cli import inner

SHEETS = {
    "tags": "squares with a number, and discs, to stick on boats so that the camera knows them",
    "targets": "boards, marks, a grid and cards to calibrate the rig with",
    "class": "what a class needs on paper: team pages, results, worksheets, rules, certificates",
    "cards": "cards for the lid of the rig's box: set-up, lesson, faults",
}
"""What can be printed -> what for; each is a module `print_<name>` beside this one, like a command."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments: what to print, and what that needs."""
    inner.describe(parser, SHEETS, prefix="print", title="what can be printed")


def run(arguments: argparse.Namespace) -> int:
    """Make the sheet."""
    return inner.run(arguments, prefix="print")
