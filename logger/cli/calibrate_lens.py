"""Measure the lens: focal length, centre and bend, each with its uncertainty, from pictures of a printed board.

Print the board first (`boatrun print targets --only lens-board`), measure the bar at its foot, glue it flat, and lock
the camera's focus. Then give photos, a folder of them, a film, or the rig file to watch live: show the board from 15
sides or more, tilted to each side, near, and in every corner. Sharp views that are unlike each other are picked by
themselves; what is missing is said.

What was found is kept in a new, dated folder with its evidence, never over an old one: lens.toml, corners.csv, and the
drawing coverage.svg. --from works it out again. The lens is right only for this focus, zoom and picture size.
"""

from __future__ import annotations

import argparse
import math
import re
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.board import Board
    from logger.guide.lens_gather import Material

_LENGTH_S = 180.0
_MOST_LENGTH_S = 1800.0
_HEIGHT_MM = 1200.0
_PLACE = "calibrate lens"


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "sources", nargs="*", type=Path, metavar="PICTURES",
        help="photos, a folder of them, one film, or the rig file (.toml) to watch live",
    )  # fmt: skip
    parser.add_argument("--from", dest="kept", type=Path, metavar="FOLDER", help="evidence to work it out from again")
    parser.add_argument(
        "--without", nargs="+", default=[], metavar="NAME", help="pictures to leave out, by the names that are told"
    )
    parser.add_argument("--to", type=Path, metavar="DIR", help="folder of calibrations (default: lens)")
    parser.add_argument("--ruler-mm", type=_length, metavar="MM", help="the bar at the foot of the board, by a ruler")
    parser.add_argument("--square-mm", type=_length, metavar="MM", help="side of a square as printed (default: 24)")
    parser.add_argument(
        "--flat-mm", type=_length, metavar="MM",
        help="widest gap under a straight edge laid over the board (default: 0.3)",
    )  # fmt: skip
    parser.add_argument(
        "--chessboard", type=_squares, metavar="COLUMNSxROWS", help="a plain chessboard with so many squares instead"
    )
    parser.add_argument("--rig", type=Path, metavar="RIG", help="check that the pictures are as its camera sends them")
    parser.add_argument(
        "--for-size", type=_size, metavar="WxH", help="work it out for the whole picture shrunk to that size"
    )
    parser.add_argument(
        "--seconds", type=_seconds, default=_LENGTH_S, metavar="S", help="watch live for at most so long"
    )
    parser.add_argument(
        "--height-mm", type=_length, default=_HEIGHT_MM, metavar="MM",
        help=f"camera above the water, to say in mm what has changed (default: {_HEIGHT_MM:g})",
    )  # fmt: skip


def run(arguments: argparse.Namespace) -> int:
    """Gather views, fit, tell, keep."""
    from dataclasses import replace

    from calibration.errors import CalibrationError
    from logger.guide import lens_found, lens_gather, lens_kept

    _check(arguments)
    try:
        board, notes = _board(arguments)
        material = _gathered(arguments, board)
        if arguments.without:
            material = lens_gather.without(material, arguments.without, place=_PLACE)
        if arguments.flat_mm is not None:
            material = replace(material, flat_mm=arguments.flat_mm)
        found = lens_found.found(material, board, notes, for_size=arguments.for_size, place=_PLACE)
    except CalibrationError as error:
        raise InputError(str(error)) from error
    below = arguments.to or Path("lens")
    last = lens_found.last(below, found, height_mm=arguments.height_mm, but=arguments.kept)
    print("\n".join([*lens_found.told(found), *last]))
    folder = lens_kept.kept(below, found, board, material, at=datetime.now().astimezone(), ruler_mm=arguments.ruler_mm)
    print(f"kept in {folder}: lens.toml, corners.csv; look at coverage.svg")
    print(f"next: boatrun calibrate plane with --lens {folder / 'lens.toml'}")
    return 0


def _length(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a length in mm above 0")
    return value


def _seconds(text: str) -> float:
    value = _length(text) if re.fullmatch(r"[\d.]+", text) else math.nan
    if not 5 <= value <= _MOST_LENGTH_S:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted seconds from 5 to {_MOST_LENGTH_S:g}")
    return value


def _two(text: str, *, least: int, most: int, wanted: str) -> tuple[int, int]:
    found = re.fullmatch(r"(\d{1,5})\s*[x×]\s*(\d{1,5})", text)
    if found is None or not all(least <= int(number) <= most for number in found.groups()):
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted {wanted}")
    return int(found[1]), int(found[2])


def _squares(text: str) -> tuple[int, int]:
    return _two(text, least=4, most=100, wanted="squares across x squares up, such as 10x7")


def _size(text: str) -> tuple[int, int]:
    return _two(text, least=16, most=20_000, wanted="a width x height in pixels, such as 1280x720")


def _check(arguments: argparse.Namespace) -> None:
    if bool(arguments.sources) == (arguments.kept is not None):
        raise InputError(f"{_PLACE}: give pictures, a film or the rig file; or else --from with a folder of evidence")
    if arguments.chessboard is not None and arguments.square_mm is None:
        raise InputError(f"{_PLACE}: --chessboard needs --square-mm, the side of its squares; measure several together")
    if arguments.rig is not None and arguments.for_size is not None:
        raise InputError(f"{_PLACE}: --rig and --for-size both say the size that is wanted; give one of them")


def _board(arguments: argparse.Namespace) -> tuple[Board, tuple[str, ...]]:
    """The board at its true size, and what is to be known of that."""
    from calibration.targets import LENS_BOARD
    from logger.guide.lens_board import board_of

    if arguments.kept is not None:
        return LENS_BOARD, ()
    ruler_mm = arguments.ruler_mm
    if ruler_mm is None and arguments.chessboard is None and sys.stdin.isatty() and sys.stderr.isatty():
        ruler_mm = arguments.ruler_mm = _asked()
    return board_of(square_mm=arguments.square_mm, ruler_mm=ruler_mm, chessboard=arguments.chessboard, place=_PLACE)


def _asked() -> float | None:
    """What a person at the keyboard says of the bar; nothing: it was not measured."""
    print("How long is the bar at the foot of the board, in mm, by a ruler? (Enter: not measured) ",
          end="", file=sys.stderr, flush=True)  # fmt: skip
    answer = sys.stdin.readline().strip()
    try:
        return _length(answer) if answer else None
    except argparse.ArgumentTypeError as error:
        raise InputError(f"{_PLACE}: the bar: {error}") from error


def _gathered(arguments: argparse.Namespace, board: Board) -> Material:
    from logger.guide import lens_gather as gather
    from logger.recording.board_film import FILM_ENDINGS

    sources: Sequence[Path] = arguments.sources
    if arguments.kept is not None:
        return gather.again(arguments.kept)
    if len(sources) == 1 and sources[0].suffix == ".toml":
        material = gather.live(sources[0], board, length_s=arguments.seconds, told=_say)
    elif any(source.suffix.lower() in FILM_ENDINGS for source in sources):
        if len(sources) > 1:
            raise InputError(f"{_PLACE}: found several sources with a film among them; give one film, or photos")
        material = gather.film(sources[0], board)
    else:
        material = gather.photos(sources, board, place=_PLACE)
    if arguments.rig is not None:
        gather.check_stream(material, arguments.rig, place=_PLACE)
    return material


def _say(sentence: str) -> None:
    print(f"{sentence} ...", file=sys.stderr, flush=True)
