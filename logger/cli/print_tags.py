"""Make a PDF of tags for boats: squares with a number, and plain discs for boats too small for a square.

Print it at 100 %, measure the bar at its foot, cut along the dashed lines and stick each tag flat on a deck, its arrow
to the bow. Then its boat's card says so, in [boat.tag]. A file that is there already is never written over.
"""

from __future__ import annotations

import argparse
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from logger.study.tag_sheet import Wanted

_NUMBERS = "1-8"
_SIZES = "40"
_DISCS_COUNT = 9
_MOST_DISCS_COUNT = 500


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "--numbers", type=number_ranges, metavar="LIST",
        help=f"squares with these numbers, such as 1-8 or 1,4,10-12 (default: {_NUMBERS}, if no discs are asked for)",
    )  # fmt: skip
    parser.add_argument(
        "--discs", type=_discs, nargs="?", const=_DISCS_COUNT, metavar="COUNT",
        help=f"so many discs of every size ({_DISCS_COUNT} if no count is given)",
    )  # fmt: skip
    parser.add_argument(
        "--size-mm", type=_sizes, default=_sizes(_SIZES), metavar="LIST",
        help=f"side of the black square, diameter of the disc; several with commas (default: {_SIZES})",
    )  # fmt: skip
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the paper (default: a4)")
    parser.add_argument("--to", type=Path, default=Path("tags.pdf"), metavar="FILE", help="default: tags.pdf")


def run(arguments: argparse.Namespace) -> int:
    """Make the file and say where it is."""
    from calibration.errors import CalibrationError
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.paper import PAPERS
    from logger.study.tag_sheet import tag_sheets

    refuse_existing(arguments.to)
    try:
        made = tag_sheets(_wanted(arguments), PAPERS[arguments.paper])
    except CalibrationError as error:
        raise InputError(str(error)) from error
    write_whole(arguments.to, made)
    print(f"{arguments.to}: print it at 100 % and measure the bar at its foot")
    return 0


def _wanted(arguments: argparse.Namespace) -> list[Wanted]:
    from calibration import tags
    from logger.study.tag_sheet import Wanted

    ranges = arguments.numbers
    if ranges is None:
        ranges = [] if arguments.discs else number_ranges(_NUMBERS)
    for number in (number for pair in ranges for number in pair):
        tags.check_number(number, place="print tags: --numbers")
    squares = [number for first, last in ranges for number in range(first, last + 1)]
    wanted = []
    for size_mm in arguments.size_mm:
        wanted += [Wanted(number, size_mm) for number in squares]
        wanted += [Wanted(None, size_mm)] * (arguments.discs or 0)
    return wanted


def number_ranges(text: str) -> list[tuple[int, int]]:
    """First and last number of each part of a list such as 1,4,10-12."""
    found = []
    for part in text.split(","):
        ends = re.fullmatch(r"\s*(\d{1,6})\s*(?:-\s*(\d{1,6})\s*)?", part, re.ASCII)
        if ends is None or int(ends[2] or ends[1]) < int(ends[1]):
            raise argparse.ArgumentTypeError(f"found {text!r}; wanted numbers and ranges such as 1,4,10-12")
        found.append((int(ends[1]), int(ends[2] or ends[1])))
    return found


def _sizes(text: str) -> list[float]:
    try:
        found = [float(part) for part in text.split(",")]
    except ValueError:
        found = [math.nan]
    if not all(math.isfinite(size_mm) and size_mm > 0 for size_mm in found):
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted lengths in mm above 0 such as 40 or 40,25")
    return found


def _discs(text: str) -> int:
    if not re.fullmatch(r"\d{1,3}", text, re.ASCII) or not 1 <= int(text) <= _MOST_DISCS_COUNT:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a count from 1 to {_MOST_DISCS_COUNT}")
    return int(text)
