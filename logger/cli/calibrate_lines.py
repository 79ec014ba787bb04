"""Say where lines, beams of gates, ports, obstacles and rings are: typed, by rim marks, or by pointing at a picture.

  --place 'start "the start" 0,-250 0,250'          typed with a tape: x,y in mm; x along the run, 0 at the start line
  --place 'finish finish x=1200'                    straight across the tank
  --place 'mark mark @212,88/floor @215,640/floor'  column,row in the picture; /floor: a tape under the water stands for
                                                    the vertical plane above it (depth and its doubt: the rig file's)
  --place 'finish finish #4/45 #5/45'               rim marks in the picture; /45: so many mm above the water
  --place 'beam "start gate" @210,80/30 @214,652/30'  emitter and receiver; it is put at the nearest line
  --place 'port harbour 600,100 800,100 800,240 600,240'  also obstacle and ring; or a middle and r=60

With --page a page is written on which you click the points in the picture; the table that it makes goes to --points.
--taped is the distance from the first beam to the last, measured with a steel tape, best twice: --taped 1200 --taped
1201. Lengths may be in cm or in (47 1/4 in). What was made of it all is kept in a new, dated folder: look at its
picture. With --write it is entered into the rig file; the file as it was is kept beside it.
"""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.waterplane import View
    from logger.config import Rig
    from logger.recording.place_list import GivenPlace
    from logger.recording.stills import Still

_CAMERA = "camera"


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument("--place", dest="places", action="append", default=[], type=_place, metavar="WORDS",
                        help="one line, beam or zone, as above; may be given again")  # fmt: skip
    parser.add_argument("--points", type=Path, metavar="FILE", help="a table of points, as the page of --page makes it")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="photograph or video; camera: take one now")
    parser.add_argument("--page", type=Path, metavar="FILE", help="only write a page to click on, a new HTML file")
    parser.add_argument("--taped", action="append", default=[], type=_length, metavar="LENGTH",
                        help="from the first beam to the last, by tape; may be given again")  # fmt: skip
    parser.add_argument("--u-mm", type=_doubt, default=None, metavar="MM", help="doubt of a typed point (default: 1)")
    parser.add_argument("--u-px", type=_doubt, default=None, metavar="PX", help="doubt of pointing (default: 1)")
    parser.add_argument("--to", type=Path, metavar="DIR", help="folder of the evidence (default: places, beside RIG)")
    parser.add_argument("--write", action="store_true", help="enter them into the rig file")


def run(arguments: argparse.Namespace) -> int:
    """Write the page, or place everything, keep, tell; write if asked to."""
    from calibration.plane import POINTED_U_PX
    from logger.checkup.placed import TYPED_U_MM
    from logger.guide import place_session as session
    from logger.recording.rig_toml import read_rig

    rig = read_rig(arguments.rig)
    view = session.view_of(rig, arguments.rig)
    picture = _picture(rig, view, arguments)
    if arguments.page is not None:
        return _page(rig, view, picture, arguments.page)
    given = _given(arguments)
    taped = session.taped_of(arguments.taped, place="calibrate lines: --taped")
    u_mm, u_px = arguments.u_mm or TYPED_U_MM, arguments.u_px or POINTED_U_PX
    wish = session.PlaceWish(rig, view, given, picture, taped, u_mm, u_px)
    made = session.work_out(wish, place=str(arguments.points or "calibrate lines"))
    print(made.told())
    below = arguments.to or arguments.rig.absolute().parent / "places"
    folder = session.kept(made, below, at=datetime.now().astimezone())
    look = "seen.png and plan.svg" if (folder / "seen.png").exists() else "plan.svg"
    print(f"kept in {folder}: look at {look}", flush=True)
    if not arguments.write:
        print(f"not entered; --write would enter this into {arguments.rig}")
        return 0
    older = session.entered(made, arguments.rig, folder, at=datetime.now().astimezone())
    print(f"entered into {arguments.rig}; as it was before: {older}")
    return 0


def _place(text: str) -> GivenPlace:
    from logger.recording.place_list import place_of_words

    try:
        return place_of_words(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _length(text: str) -> Any:
    from calibration.readings import read_length

    try:
        return read_length(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from error


def _doubt(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value <= 1000:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a standard uncertainty above 0")
    return value


def _picture(rig: Rig, view: View | None, arguments: argparse.Namespace) -> Still | None:
    from logger.guide.place_session import check_size
    from logger.recording.stills import read_still

    if arguments.picture is None:
        if arguments.page is not None:
            raise InputError("calibrate lines: --page needs the picture to click on; give --picture FILE or camera")
        return None
    if str(arguments.picture) == _CAMERA:
        from logger.guide.stills_now import still_now

        found = still_now(rig, arguments.rig)
    else:
        found = read_still([arguments.picture])
    check_size(found, view, place=str(arguments.picture))
    return found


def _page(rig: Rig, view: View | None, picture: Still | None, path: Path) -> int:
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.point_page import point_page

    assert picture is not None  # noqa: S101 - _picture has refused it
    refuse_existing(path)
    write_whole(path, point_page(picture.grey, rig, view))
    print(f"{path}: open it in a browser, click the points, and give its table with --points")
    return 0


def _given(arguments: argparse.Namespace) -> list[GivenPlace]:
    from logger.recording.place_list import read_places

    given = [*arguments.places, *(read_places(arguments.points) if arguments.points is not None else [])]
    if not given and not arguments.taped:
        raise InputError(
            "calibrate lines: found no places; give --place, --points or --taped, or --page to click on a picture"
        )
    return given
