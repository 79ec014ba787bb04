"""Measure what the rig has to know about itself, one thing at a time; `boatrun calibrate WHAT --help` tells more."""

from __future__ import annotations

import argparse
from importlib import import_module

TARGETS = {
    "light": "how late the camera's stamps are, from a light that blinks in its picture",
}
"""What can be calibrated -> what for; each is a module `calibrate_<name>` beside this one, like a command."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments: what to calibrate, and what that needs."""
    targets = parser.add_subparsers(dest="target", required=True, metavar="WHAT", title="what can be calibrated")
    for name, words in TARGETS.items():
        module = import_module(f"logger.cli.calibrate_{name}")
        module.describe(targets.add_parser(name, help=words, description=module.__doc__, allow_abbrev=False))


def run(arguments: argparse.Namespace) -> int:
    """Calibrate it."""
    return int(import_module(f"logger.cli.calibrate_{arguments.target}").run(arguments))
