"""Commands of a command, such as those of `boatrun calibrate`: each is a module `PREFIX_NAME` beside this one."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from importlib import import_module


def describe(parser: argparse.ArgumentParser, names: Mapping[str, str], *, prefix: str, title: str) -> None:
    """Give `parser` the inner commands `names` (name -> what for), each with what it needs itself."""
    inner = parser.add_subparsers(dest="inner", required=True, metavar="WHAT", title=title)
    for name, words in names.items():
        module = import_module(f"logger.cli.{prefix}_{name}")
        module.describe(inner.add_parser(name, help=words, description=module.__doc__, allow_abbrev=False))


def run(arguments: argparse.Namespace, *, prefix: str) -> int:
    """Run the inner command that was asked for; returns the exit status."""
    return int(import_module(f"logger.cli.{prefix}_{arguments.inner}").run(arguments))
