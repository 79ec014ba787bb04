"""Make a PDF of what a class needs on paper: team pages at an exact scale, results, worksheets, rules, certificates.

The class is the folder that a lesson (or `boatrun demo`) left: trials.sqlite beside its recordings. Print it at 100 %;
pages on which something is measured carry a bar of 100 mm. A file that is there already is never written over.
"""

from __future__ import annotations

import argparse
from pathlib import Path


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="of a class: trials.sqlite and its recordings")
    parser.add_argument("--only", type=_names, metavar="LIST", help="sheets by name, with commas (default: all)")
    parser.add_argument("--list", action="store_true", help="say which sheets there are, and make none")
    parser.add_argument("--team", default="", metavar="NAME", help="team pages of this team only")
    parser.add_argument("--rule", action="append", default=[], metavar="TEXT", help="a further rule; may be repeated")
    parser.add_argument(
        "--grades", choices=("2-3", "4-5", "6-8"), default="4-5", help="digits and units (default: 4-5)"
    )
    parser.add_argument("--name", default="", metavar="TEXT", help="what the class is called (default: as its folder)")
    parser.add_argument("--language", choices=("en", "es"), default="en", help="of the sheets (default: en)")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the paper (default: a4)")
    parser.add_argument("--to", type=Path, default=Path("class.pdf"), metavar="FILE", help="default: class.pdf")


def run(arguments: argparse.Namespace) -> int:
    """Make the file and say where it is."""
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.class_folder import read_class
    from logger.study.paper import PAPERS
    from logger.study.prints.every import SHEETS, class_sheets
    from logger.study.tongue import catalogue, speaking

    if arguments.list:
        print("\n".join(f"{name:<14} {what}" for name, what in SHEETS.items()))
        return 0
    refuse_existing(arguments.to)
    with speaking(catalogue(arguments.language)):
        made = class_sheets(
            read_class(arguments.folder, name=arguments.name),
            arguments.only if arguments.only is not None else list(SHEETS),
            PAPERS[arguments.paper],
            grades=arguments.grades,
            rules=arguments.rule,
            team=arguments.team,
        )
    write_whole(arguments.to, made)
    print(f"{arguments.to}: print it at 100 %; where there is a bar at the foot, measure it")
    return 0


def _names(text: str) -> list[str]:
    return list(dict.fromkeys(part.strip() for part in text.split(",") if part.strip()))
