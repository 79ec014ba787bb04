"""Make a PDF of what the rig is calibrated with: boards, marks for the rim, a grid, cards for light and focus.

Print it at 100 %, measure the bar at the foot of each page, and mount each page as its own few words say. The lens
board is for `boatrun calibrate lens`, the light card for `boatrun calibrate light`. A file that is there already is
never written over.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from logger.cli.print_tags import number_ranges
from logger.errors import InputError


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "--only", type=_names, metavar="LIST",
        help="of lens-board, plane-board, rim-marks, plane-grid, light-card, focus-card (default: all)",
    )  # fmt: skip
    parser.add_argument(
        "--rim-numbers", type=number_ranges, metavar="LIST", help="marks with these numbers, such as 0-5 (default: 0-5)"
    )
    parser.add_argument(
        "--rim-size-mm", type=_size, metavar="MM", help="side of a rim mark's black square (default: 45)"
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the paper (default: a4)")
    parser.add_argument("--to", type=Path, default=Path("targets.pdf"), metavar="FILE", help="default: targets.pdf")


def run(arguments: argparse.Namespace) -> int:
    """Make the file and say where it is."""
    from calibration import tags
    from calibration.errors import CalibrationError
    from calibration.targets import RIM_NUMBERS, RIM_SIZE_MM
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.paper import PAPERS
    from logger.study.target_sheets import TARGETS, target_sheets

    refuse_existing(arguments.to)
    try:
        numbers: list[int] = list(RIM_NUMBERS)
        if arguments.rim_numbers is not None:
            for number in (number for pair in arguments.rim_numbers for number in pair):
                tags.check_number(number, place="print targets: --rim-numbers", family=tags.RIM_FAMILY)
            numbers = [number for first, last in arguments.rim_numbers for number in range(first, last + 1)]
        made = target_sheets(
            arguments.only or list(TARGETS),
            PAPERS[arguments.paper],
            rim_numbers=numbers,
            rim_size_mm=arguments.rim_size_mm or RIM_SIZE_MM,
        )
    except CalibrationError as error:
        raise InputError(str(error)) from error
    write_whole(arguments.to, made)
    print(f"{arguments.to}: print it at 100 % and measure the bar at the foot of each page")
    return 0


def _names(text: str) -> list[str]:
    return list(dict.fromkeys(part.strip() for part in text.split(",") if part.strip()))


def _size(text: str) -> float:
    try:
        size_mm = float(text)
    except ValueError:
        size_mm = math.nan
    if not (math.isfinite(size_mm) and size_mm > 0):
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a length in mm above 0 such as 45")
    return size_mm
