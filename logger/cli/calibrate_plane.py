"""Find where the camera stands over the water, in one of three ways, and how good every place on the water then is.

  --by rim     four printed marks or more on the tank's rim, above the water, at places that you have measured
  --by floor   marks or a taped grid on the floor: --dry is a picture of the empty tank, --filled one through the
               water; best both; and the depth of the water
  --by board   the printed plane board floating on the water, at several places; and two marks that say where the
               tank is

Places are in mm: x along the run, 0 at the start line, y to the left of it, heights above the water. Pictures are
photographs or a video, as large as those of the runs; the word `camera` takes them with the rig's own. Nobody's hands
in the water; let it come to rest.

Lay something of known length on the water (a ruler, a slat with two marks) and give its ends with --check-length: a
wrong scale shows in nothing else. What was made of it all is kept in a new, dated folder: look at its pictures. With
--write the rig uses it.
"""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from logger.cli.plane_options import add_options, corners_of, grid_of, known_lengths
from logger.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from calibration.board import CharucoBoard
    from calibration.plane import PlacedMark
    from logger.config import Rig
    from logger.recording.stills import Still
    from logger.station.plane_session import PlaneWish

_FROM_VIDEO_COUNT = 24
"""Pictures out of a video in which a floating board is looked for."""
CAMERA = "camera"
"""Stands for a file name: take the picture now."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    add_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Take or read the pictures, work the plane out, keep it, tell; write if asked to."""
    from logger.guide.plane_kept import in_use, kept
    from logger.guide.plane_words import told
    from logger.recording.rig_toml import read_rig
    from logger.station.plane_session import work_out

    rig = read_rig(arguments.rig)
    result = work_out(_wish(rig, arguments))
    below, lens_file = arguments.to or arguments.rig.parent / "plane", str(arguments.lens or "")
    folder = kept(result, below, at=datetime.now().astimezone(), lens_file=lens_file)
    print(told(result, in_use(rig, arguments.rig)))
    print(f"kept in {folder}: look at map.svg and seen-1.png", flush=True)
    _enter(arguments, folder)
    return 0


def _wish(rig: Rig, arguments: argparse.Namespace) -> PlaneWish:
    from calibration.floor import DepthReading
    from calibration.plane import Afloat
    from logger.guide.plane_kept import lens_for
    from logger.station.plane_session import PlaneWish

    lens, covariance = lens_for(rig, arguments.rig, arguments.lens)
    marks, filled_px = _marks(arguments)
    depth = rig.tank.u_water_depth_mm if arguments.u_depth_mm is None else arguments.u_depth_mm
    afloat = Afloat(height_mm=arguments.board_height_mm, u_scale_ratio=arguments.u_square_percent / 100)
    return PlaneWish(
        rig=rig,
        lens=lens,
        lens_covariance=covariance,
        way=_way(arguments),
        **_pictures(rig, arguments),  # type: ignore[arg-type]
        marks=tuple(marks),
        filled_px=filled_px,
        grid=grid_of(arguments),
        grid_corners_px=corners_of(arguments),
        readings=tuple(DepthReading(mm, at) for mm, at in _depths(rig, arguments)),
        u_depth_mm=depth,
        level_mm=arguments.height_mm,
        u_level_mm=arguments.u_height_mm,
        u_mark_mm=arguments.u_mark_mm,
        board=_board(arguments),
        afloat=afloat,
        checks=known_lengths(arguments, rig),
    )


def _way(arguments: argparse.Namespace) -> Literal["rim", "floor", "board"]:
    way: Literal["rim", "floor", "board"] = arguments.by
    wet = [f"--{name}" for name in ("dry", "filled", "grid") if getattr(arguments, name) is not None]
    if way != "floor" and wet:
        raise InputError(f"calibrate plane: {wet[0]} is for --by floor; found --by {way}; choose one of the two ways")
    if way == "floor" and arguments.picture is not None:
        raise InputError("calibrate plane: found --picture with --by floor; say --dry or --filled, so that it is clear")
    return way


def _marks(arguments: argparse.Namespace) -> tuple[Sequence[PlacedMark], Mapping[str, tuple[float, float]]]:
    from logger.recording.mark_list import read_marks

    if arguments.marks is not None:
        return read_marks(arguments.marks)
    if arguments.by != "floor" or arguments.grid is None:
        raise InputError(
            "calibrate plane: found no --marks; wanted a table with the lines mark,x_mm,y_mm,height_mm, such as "
            "0,0,-250,45 for the mark with the number 0"
        )
    return (), {}


def _depths(rig: Rig, arguments: argparse.Namespace) -> Sequence[tuple[float, tuple[float, float] | None]]:
    if arguments.by != "floor":
        return ()
    if arguments.depth_mm:
        return list(arguments.depth_mm)
    raise InputError(
        "calibrate plane: how deep is the water? Found no --depth-mm; put a ruler upright into the water and give what "
        f"it shows now (the rig file says {rig.tank.water_depth_mm:g}); best at several places, as in 98@0,-150"
    )


def _board(arguments: argparse.Namespace) -> CharucoBoard:
    from dataclasses import replace

    from calibration.targets import PLANE_BOARD

    if arguments.square_mm is None:
        return PLANE_BOARD
    ratio = arguments.square_mm / PLANE_BOARD.square_mm
    if arguments.by == "board" and not 0.8 < ratio < 1.25:
        unit = " (were cm typed?)" if 0.08 < ratio < 0.125 else ""
        raise InputError(
            f"calibrate plane: found --square-mm {arguments.square_mm:g}{unit}; the plane board is printed with "
            f"squares of {PLANE_BOARD.square_mm:g} mm; measure five of them and give the length of one in mm"
        )
    return replace(PLANE_BOARD, square_mm=arguments.square_mm, mark_mm=PLANE_BOARD.mark_mm * ratio)


def _pictures(rig: Rig, arguments: argparse.Namespace) -> dict[str, object]:
    """What was given, or what the rig's camera sees now."""
    from logger.recording.stills import read_each, read_still

    given: dict[str, Sequence[Path] | None] = {"dry": arguments.dry, "filled": arguments.filled}
    if arguments.by == "floor":
        if arguments.dry is None and arguments.filled is None:
            raise InputError("calibrate plane: found neither --dry nor --filled; wanted a picture of the floor")
        return {
            name: _live(rig, arguments, 1, name)[0] if _is_live(paths) else read_still(paths)
            for name, paths in given.items()
            if paths is not None
        }
    paths = arguments.picture or [Path(CAMERA)]
    if _is_live(paths):
        count = arguments.count if arguments.by == "board" else 1
        return {"pictures": tuple(_live(rig, arguments, count, "live"))}
    if arguments.by == "rim":
        return {"pictures": (read_still(paths),)}
    return {"pictures": tuple(read_each(paths, from_video=_FROM_VIDEO_COUNT))}


def _is_live(paths: Sequence[Path]) -> bool:
    return [str(path) for path in paths] == [CAMERA]


def _live(rig: Rig, arguments: argparse.Namespace, count: int, name: str) -> list[Still]:
    from logger.guide.stills_now import stills_now

    if count > 1:
        print(
            f"move the board to another place after each picture; {count} pictures, one every {arguments.every_s:g} s",
            file=sys.stderr, flush=True,
        )  # fmt: skip
    return stills_now(rig, arguments.rig, count, name=name, every_s=arguments.every_s, told=_say)


def _say(sentence: str) -> None:
    print(f"{sentence} ...", file=sys.stderr, flush=True)


def _enter(arguments: argparse.Namespace, folder: Path) -> None:
    """Have the rig use it, or say what would be entered."""
    from logger.guide.plane_kept import entered, entries_of

    made = entered if arguments.write else entries_of
    shown = ", ".join(f"{name} = {value}" for name, value in made(folder, arguments.rig).items())
    if not arguments.write:
        print(f"not entered; --write would set {shown} in {arguments.rig}")
        return
    print(f"entered into {arguments.rig}: {shown}; now keep a view: boatrun check {arguments.rig} --keep-view")
