"""What `boatrun calibrate plane` can be given, and how it is written."""

from __future__ import annotations

import argparse
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.length_check import KnownLength
    from calibration.tape_grid import TapeGrid
    from logger.config import Rig

_NUMBER = r"[-+]?\d{1,6}(?:\.\d+)?"
GATES = "gates"
"""Stands for a length: the gate distance of the rig file."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Give `parser` all of them, in groups."""
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument("--by", choices=("rim", "floor", "board"), required=True, help="which of the three ways")
    parser.add_argument(
        "--lens", type=Path, metavar="FILE", help="the lens's file (default: the lens of the calibration in use)"
    )
    parser.add_argument("--write", action="store_true", help="enter the new calibration into the rig file")
    parser.add_argument(
        "--to", type=Path, metavar="DIR", help="where its dated folder is made (default: plane, beside RIG)"
    )
    _add_pictures(parser.add_argument_group("pictures: files, or the word camera"))
    _add_places(parser.add_argument_group("marks and grid"))
    _add_water(parser.add_argument_group("water"))
    _add_board(parser.add_argument_group("floating board"))
    check = parser.add_argument_group("check")
    check.add_argument(
        "--check-length", nargs=3, action="append", default=[], metavar=("U,V", "U,V", "MM"),
        help="both ends of something on the water in the picture, and its length, such as 1000 or 1000±2, or the word "
        "gates for the rig's gate distance; may be given several times",
    )  # fmt: skip
    check.add_argument(
        "--check-height-mm", type=_number, default=0.0, metavar="MM", help="height of both ends above the water"
    )


def _add_pictures(group: argparse._ArgumentGroup) -> None:
    group.add_argument("--picture", type=Path, nargs="+", metavar="FILE", help="rim, board (default: camera)")
    group.add_argument("--dry", type=Path, nargs="+", metavar="FILE", help="floor: the empty tank, before filling")
    group.add_argument("--filled", type=Path, nargs="+", metavar="FILE", help="floor: the same through the water")
    group.add_argument("--count", type=_count, default=6, metavar="N", help="board: so many from the camera (6)")
    group.add_argument("--every-s", type=_positive, default=8.0, metavar="S", help="board: one every S seconds (8)")


def _add_places(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--marks", type=Path, metavar="FILE",
        help="a table mark,x_mm,y_mm[,height_mm,u_mm,column_px,row_px]; a mark that is a number is looked for",
    )  # fmt: skip
    group.add_argument(
        "--u-mark-mm", type=_positive, default=1.0, metavar="MM", help="how well each place is measured (1)"
    )
    group.add_argument(
        "--height-mm", type=_number, default=0.0, metavar="MM",
        help="what heights are measured from, above the water (0), such as the rim",
    )  # fmt: skip
    group.add_argument("--u-height-mm", type=_positive, default=1.0, metavar="MM", help="how well that is known (1)")
    group.add_argument("--grid", type=_grid, metavar="NxM", help="floor: crossings along x and along y, such as 5x3")
    group.add_argument("--step-mm", type=_step, metavar="X[,Y]", help="from crossing to crossing, such as 300,200")
    group.add_argument(
        "--first-mm", type=_pair, default=(0.0, 0.0), metavar="X,Y", help="the one with the least x and y (0,0)"
    )
    group.add_argument(
        "--corner-px", type=_pair, nargs=4, metavar="U,V",
        help="the grid's four outermost crossings in the first picture: least x and y; most x, least y; most x and y; "
        "least x, most y",
    )  # fmt: skip


def _add_water(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--depth-mm", type=_depth, nargs="+", metavar="D[@X,Y]",
        help="floor: how deep the water is, or will be; several with places, such as 98@0,-150 104@1500,150",
    )  # fmt: skip
    group.add_argument("--u-depth-mm", type=_positive, metavar="MM", help="how well each is read (the rig file's)")


def _add_board(group: argparse._ArgumentGroup) -> None:
    group.add_argument("--square-mm", type=_positive, metavar="MM", help="side of a square as measured on the print")
    group.add_argument(
        "--u-square-percent", type=_positive, default=0.15, metavar="P", help="how well that is known (0.15 %%)"
    )
    group.add_argument(
        "--board-height-mm", type=_number, default=4.0, metavar="MM", help="its face above the water (4)"
    )


def grid_of(arguments: argparse.Namespace) -> TapeGrid | None:
    """The taped grid, if one was given."""
    from calibration.errors import CalibrationError
    from calibration.tape_grid import TapeGrid

    if arguments.grid is None:
        return None
    if arguments.step_mm is None or arguments.corner_px is None:
        raise InputError(
            "calibrate plane: --grid also needs --step-mm (from crossing to crossing) and --corner-px (its four "
            "outermost crossings in the first picture)"
        )
    if arguments.marks is not None:
        raise InputError("calibrate plane: found both --grid and --marks; give one of the two")
    try:
        (columns, rows), (step_x, step_y) = arguments.grid, arguments.step_mm
        return TapeGrid(columns, rows, step_x, step_y, arguments.first_mm)
    except CalibrationError as error:
        raise InputError(f"calibrate plane: {error}") from error


def corners_of(arguments: argparse.Namespace) -> tuple[tuple[float, float], ...]:
    """Pixels of its four outermost crossings, none without a grid."""
    return tuple(arguments.corner_px or ())


def known_lengths(arguments: argparse.Namespace, rig: Rig) -> tuple[KnownLength, ...]:
    """Every --check-length."""
    from calibration.length_check import KnownLength

    found = []
    for number, (a, b, length) in enumerate(arguments.check_length, 1):
        name = "ruler" if number == 1 else f"ruler {number}"
        try:
            ends = _pair(a), _pair(b)
            if length == GATES:
                if rig.gate_distance_mm is None:
                    raise InputError(f"{arguments.rig}: there is no gate_distance_mm to check with; measure it")
                mm, u, name = rig.gate_distance_mm, rig.u_gate_distance_mm, "gate distance"
            else:
                mm, u = _length(length)
        except argparse.ArgumentTypeError as error:
            raise InputError(f"calibrate plane: --check-length: {error}") from error
        found.append(KnownLength(*ends, mm, u, arguments.check_height_mm, name=name))
    return tuple(found)


def _length(text: str) -> tuple[float, float]:
    """A length, and its standard uncertainty: of 1000±2 that is 2/√3, the truth lies anywhere within."""
    found = re.fullmatch(rf"({_NUMBER})(?:(?:±|\+-|\+/-)(\d+(?:\.\d+)?))?", text, re.ASCII)
    if found is None or not float(found[1]) > 0:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a length in mm such as 1000 or 1000±2, or {GATES}")
    return float(found[1]), float(found[2] or 2.0) / math.sqrt(3)


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a number")
    return value


def _positive(text: str) -> float:
    value = _number(text)
    if not value > 0:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a number above 0")
    return value


def _count(text: str) -> int:
    if not re.fullmatch(r"\d{1,3}", text, re.ASCII) or not 1 <= int(text) <= 50:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a whole number from 1 to 50")
    return int(text)


def _pair(text: str) -> tuple[float, float]:
    found = re.fullmatch(rf"({_NUMBER}),({_NUMBER})", text, re.ASCII)
    if found is None:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted two numbers with a comma, such as 210,-40.5")
    return float(found[1]), float(found[2])


def _step(text: str) -> tuple[float, float]:
    pair = _pair(text) if "," in text else (_number(text), _number(text))
    if not min(pair) > 0:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted lengths above 0, such as 200 or 300,200")
    return pair


def _grid(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"(\d{1,2})x(\d{1,2})", text, re.ASCII)
    if found is None:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted crossings along x and along y, such as 5x3")
    return int(found[1]), int(found[2])


def _depth(text: str) -> tuple[float, tuple[float, float] | None]:
    depth, at, place = text.partition("@")
    return _positive(depth), _pair(place) if at else None
