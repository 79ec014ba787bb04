"""What `boatrun calibrate plane` can be given, and how it is written."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from logger.errors import InputError
from logger.guide import plane_given as given

if TYPE_CHECKING:
    from calibration.length_check import KnownLength
    from calibration.tape_grid import TapeGrid
    from logger.config import Rig

T = TypeVar("T")


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
        "--check-height-mm",
        type=_typed(given.number),
        default=0.0,
        metavar="MM",
        help="height of both ends above the water",
    )


def _add_pictures(group: argparse._ArgumentGroup) -> None:
    group.add_argument("--picture", type=Path, nargs="+", metavar="FILE", help="rim, board (default: camera)")
    group.add_argument("--dry", type=Path, nargs="+", metavar="FILE", help="floor: the empty tank, before filling")
    group.add_argument("--filled", type=Path, nargs="+", metavar="FILE", help="floor: the same through the water")
    group.add_argument(
        "--count", type=_typed(given.count), default=6, metavar="N", help="board: so many from the camera (6)"
    )
    group.add_argument(
        "--every-s", type=_typed(given.positive), default=8.0, metavar="S", help="board: one every S seconds (8)"
    )


def _add_places(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--marks", type=Path, metavar="FILE",
        help="a table mark,x_mm,y_mm[,height_mm,u_mm,column_px,row_px]; a mark that is a number is looked for",
    )  # fmt: skip
    group.add_argument(
        "--u-mark-mm",
        type=_typed(given.positive),
        default=1.0,
        metavar="MM",
        help="how well each place is measured (1)",
    )
    group.add_argument(
        "--height-mm", type=_typed(given.number), default=0.0, metavar="MM",
        help="what heights are measured from, above the water (0), such as the rim",
    )  # fmt: skip
    group.add_argument(
        "--u-height-mm", type=_typed(given.positive), default=1.0, metavar="MM", help="how well that is known (1)"
    )
    group.add_argument(
        "--grid", type=_typed(given.grid), metavar="NxM", help="floor: crossings along x and along y, such as 5x3"
    )
    group.add_argument(
        "--step-mm", type=_typed(given.step), metavar="X[,Y]", help="from crossing to crossing, such as 300,200"
    )
    group.add_argument(
        "--first-mm",
        type=_typed(given.pair),
        default=(0.0, 0.0),
        metavar="X,Y",
        help="the one with the least x and y (0,0)",
    )
    group.add_argument(
        "--corner-px", type=_typed(given.pair), nargs=4, metavar="U,V",
        help="the grid's four outermost crossings in the first picture: least x and y; most x, least y; most x and y; "
        "least x, most y",
    )  # fmt: skip


def _add_water(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--depth-mm", type=_typed(given.depth), nargs="+", metavar="D[@X,Y]",
        help="floor: how deep the water is, or will be; several with places, such as 98@0,-150 104@1500,150",
    )  # fmt: skip
    group.add_argument(
        "--u-depth-mm", type=_typed(given.positive), metavar="MM", help="how well each is read (the rig file's)"
    )


def _add_board(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--square-mm", type=_typed(given.positive), metavar="MM", help="side of a square as measured on the print"
    )
    group.add_argument(
        "--u-square-percent",
        type=_typed(given.positive),
        default=0.15,
        metavar="P",
        help="how well that is known (0.15 %%)",
    )
    group.add_argument(
        "--board-height-mm", type=_typed(given.number), default=4.0, metavar="MM", help="its face above the water (4)"
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
            ends = given.pair(a), given.pair(b)
            if length == given.GATES:
                if rig.gate_distance_mm is None:
                    raise InputError(f"{arguments.rig}: there is no gate_distance_mm to check with; measure it")
                mm, u, name = rig.gate_distance_mm, rig.u_gate_distance_mm, "gate distance"
            else:
                mm, u = given.length(length)
        except ValueError as error:
            if isinstance(error, InputError):
                raise
            raise InputError(f"calibrate plane: --check-length: {error}") from error
        found.append(KnownLength(*ends, mm, u, arguments.check_height_mm, name=name))
    return tuple(found)


def _typed(read: Callable[[str], T]) -> Callable[[str], T]:
    """`read` as argparse wants it: what it has to say is told to the person."""

    def reads(text: str) -> T:
        try:
            return read(text)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from error

    return reads
