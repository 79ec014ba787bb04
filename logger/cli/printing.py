"""Sheets to print, as PDF files at true scale; `boatrun print WHAT --help` tells more."""

from __future__ import annotations

import argparse
from importlib import import_module

SHEETS = {
    "tags": "squares with a number, and discs, to stick on boats so that the camera knows them",
}
"""What can be printed -> what for; each is a module `print_<name>` beside this one, like a command."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments: what to print, and what that needs."""
    sheets = parser.add_subparsers(dest="sheet", required=True, metavar="WHAT", title="what can be printed")
    for name, words in SHEETS.items():
        module = import_module(f"logger.cli.print_{name}")
        module.describe(sheets.add_parser(name, help=words, description=module.__doc__, allow_abbrev=False))


def run(arguments: argparse.Namespace) -> int:
    """Make the sheet."""
    return int(import_module(f"logger.cli.print_{arguments.sheet}").run(arguments))
