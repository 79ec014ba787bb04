"""Make a PDF of the cards for the lid of the rig's box: set-up, lesson, faults; one page each, to be read from a metre.

Print them on stiff paper, grey will do, and put them into a clear bag. A file that is there already is never written
over.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.errors import InputError


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("--only", type=_names, metavar="LIST", help="of set-up, lesson, faults (default: all)")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the paper (default: a4)")
    parser.add_argument("--to", type=Path, default=Path("cards.pdf"), metavar="FILE", help="default: cards.pdf")


def run(arguments: argparse.Namespace) -> int:
    """Make the file and say where it is."""
    from calibration.errors import CalibrationError
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.cards import CARDS, cards_sheet
    from logger.study.paper import PAPERS

    refuse_existing(arguments.to)
    try:
        made = cards_sheet(arguments.only if arguments.only is not None else list(CARDS), PAPERS[arguments.paper])
    except CalibrationError as error:
        raise InputError(str(error)) from error
    write_whole(arguments.to, made)
    print(f"{arguments.to}: print it, one page a card, and put it into the lid")
    return 0


def _names(text: str) -> list[str]:
    return list(dict.fromkeys(part.strip() for part in text.split(",") if part.strip()))
