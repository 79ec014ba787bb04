"""What the page of the water plane is given, as the same wish that `boatrun calibrate plane` makes of its options."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeVar, cast

from calibration.errors import CalibrationError
from calibration.floor import DepthReading
from calibration.length_check import KnownLength
from calibration.plane import Afloat, PlacedMark
from calibration.tape_grid import TapeGrid
from calibration.targets import PLANE_BOARD
from logger.config import Rig
from logger.errors import ConfigError, InputError
from logger.guide import plane_given as given
from logger.guide.plane_kept import lens_for
from logger.recording.mark_list import read_marks
from logger.recording.stills import Still, read_each, read_still
from logger.station.plane_session import PlaneWish
from logger.web.language import N_

if TYPE_CHECKING:
    from logger.web.site import Site

T = TypeVar("T")
WAYS = ("floor", "rim", "board")
CORNERS = ("corner_1", "corner_2", "corner_3", "corner_4")
FIELDS = (
    "way", "columns", "rows", "step_x", "step_y", "first_x", "first_y", "depth", "u_depth", "marks", "level", "u_level",
    "u_mark", "check_mm", "check_height", "end_1", "end_2", *CORNERS, "square", "board_height",
)  # fmt: skip
_FROM_VIDEO_COUNT = 24
_PLACE = "water plane"


def pictures_of(way: str) -> tuple[str, ...]:
    """Names of the pictures that a way wants."""
    return {"floor": ("dry", "filled"), "rim": ("rim",), "board": ("board",)}.get(way, ())


class _Reader:
    """Reads fields and notes all that is wrong."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self.values = values
        self.mistakes: list[str] = []

    def text(self, name: str) -> str:
        return self.values.get(name, "").strip()

    def read(self, name: str, what: str, reader: Callable[[str], T], other: T | None = None) -> T:
        """The field; where it is empty, `other`. A mistake is noted, and something stands for it."""
        text = self.text(name).replace("−", "-")
        if not text and other is not None:
            return other
        try:
            return reader(text)
        except ValueError as error:
            self.mistakes.append(f"{what}: {error}")
            return cast(T, other)


def wish_of(site: Site, values: Mapping[str, str]) -> PlaneWish:
    """Everything that was given so far.

    Raises:
        ConfigError: with all that is wrong or missing.
        InputError: a picture, the lens or the list of marks cannot be used.
    """
    way = values.get("way", "")
    if way not in WAYS:
        raise InputError(N_("choose one of the three ways first"))
    rig, form = site.rig(), _Reader(values)
    lens, covariance = lens_for(rig, site.rig_file, lens_file_of(site))
    u_mark_mm = form.read("u_mark", "how well places of marks are known", given.positive, 1.0)
    wish = PlaneWish(rig, lens, covariance, cast(Literal["rim", "floor", "board"], way), u_mark_mm=u_mark_mm)
    wish = _with_floor(wish, form) if way == "floor" else _with_marks(wish, form, site)
    wish = replace(wish, checks=_checks(form, rig))
    wish = _with_pictures(wish, form, site)
    if form.mistakes:
        raise ConfigError(_PLACE, form.mistakes)
    return wish


def lens_file_of(site: Site) -> Path | None:
    """The newest lens that was measured; None: that of the calibration in use."""
    found = sorted((site.folder / "lens").glob("lens-*/lens.toml"))
    return found[-1] if found else None


def _with_floor(wish: PlaneWish, form: _Reader) -> PlaneWish:
    columns = form.read("columns", "crossings along the run", given.count)
    rows = form.read("rows", "crossings across", given.count)
    step_x = form.read("step_x", "from crossing to crossing along the run", _length_mm)
    step_y = form.read("step_y", "from crossing to crossing across", _length_mm, step_x)
    first = (form.read("first_x", "x of the first crossing", given.number, 0.0),
             form.read("first_y", "y of the first crossing", given.number, 0.0))  # fmt: skip
    readings = form.read("depth", "depth of the water", _depths)
    corners = [
        form.read(name, f"corner {n} of the grid: click it in the picture", _pixel) for n, name in enumerate(CORNERS, 1)
    ]
    u_depth_mm = form.read("u_depth", "how well the depth is read", given.positive, wish.rig.tank.u_water_depth_mm)
    if form.mistakes:
        return wish
    try:
        grid = TapeGrid(columns, rows, step_x, step_y, first)
    except CalibrationError as error:
        form.mistakes += error.mistakes
        return wish
    return replace(wish, grid=grid, grid_corners_px=tuple(corners), readings=tuple(readings), u_depth_mm=u_depth_mm)


def _with_marks(wish: PlaneWish, form: _Reader, site: Site) -> PlaneWish:
    text = form.text("marks")
    if not text:
        form.mistakes.append("places of the marks: found none; wanted a line for each: number, x, y, height in mm")
        return wish
    first = text.splitlines()[0].replace(" ", "").lower()
    table = text if first.startswith("mark,") else f"mark,x_mm,y_mm,height_mm\n{text}"
    path = site.drafts.put("planemarks", "marks.csv", "\n".join(line.strip() for line in table.splitlines()) + "\n")
    marks, filled_px = _marks(path, form)
    afloat = Afloat(height_mm=form.read("board_height", "the board's face above the water", given.number, 4.0))
    square = form.read("square", "side of the board's squares", given.positive, PLANE_BOARD.square_mm)
    if form.mistakes:
        return wish
    ratio = square / PLANE_BOARD.square_mm
    if not 0.8 < ratio < 1.25:
        form.mistakes.append(
            f"side of the board's squares: found {square:g} mm; wanted about {PLANE_BOARD.square_mm:g}"
        )
    board = replace(PLANE_BOARD, square_mm=square, mark_mm=PLANE_BOARD.mark_mm * ratio)
    return replace(
        wish, marks=tuple(marks), filled_px=filled_px, board=board, afloat=afloat,
        level_mm=form.read("level", "height of the rim", given.number, 0.0),
        u_level_mm=form.read("u_level", "how well that is known", given.positive, 1.0),
    )  # fmt: skip


def _marks(path: Path, form: _Reader) -> tuple[list[PlacedMark], dict[str, tuple[float, float]]]:
    try:
        return read_marks(path)
    except InputError as error:
        form.mistakes.append(str(error).replace(str(path), "places of the marks"))
        return [], {}


def _checks(form: _Reader, rig: Rig) -> tuple[KnownLength, ...]:
    """The known length on the water, if its ends were pointed at."""
    text = form.text("check_mm")
    if not text and not form.text("end_1"):
        return ()
    ends = [
        form.read(name, f"end {n} of the known length: click it", _pixel)
        for n, name in enumerate(("end_1", "end_2"), 1)
    ]
    if text == given.GATES and rig.gate_distance_mm is not None:
        mm, u_mm, name = rig.gate_distance_mm, rig.u_gate_distance_mm, "gate distance"
    else:
        (mm, u_mm), name = form.read("check_mm", "the known length", given.length, (0.0, 0.0)), "ruler"
        if not mm and not form.mistakes:
            form.mistakes.append("the known length: both its ends are pointed at; how long is it, in mm?")
    height = form.read("check_height", "height of the known length", given.number, 0.0)
    return () if form.mistakes else (KnownLength(ends[0], ends[1], mm, u_mm, height, name=name),)


def _with_pictures(wish: PlaneWish, form: _Reader, site: Site) -> PlaneWish:
    found: dict[str, list[Path]] = {
        slot: [file for file in site.drafts.files("planepictures") if file.stem.partition("-")[0] == slot]
        for slot in pictures_of(wish.way)
    }
    if not any(found.values()):
        form.mistakes.append("pictures: there is none yet; send one, or let the rig's camera take it")
    if form.mistakes:
        return wish
    if wish.way == "floor":
        looks: dict[str, Still | None] = {slot: read_still(files) if files else None for slot, files in found.items()}
        return replace(wish, **looks)  # type: ignore[arg-type]
    if wish.way == "rim":
        return replace(wish, pictures=(read_still(found["rim"]),))
    return replace(wish, pictures=tuple(read_each(found["board"], from_video=_FROM_VIDEO_COUNT)))


def _pixel(text: str) -> tuple[float, float]:
    return given.pair(text.replace(" ", ""))


def _length_mm(text: str) -> float:
    return given.positive(text.replace(",", "."))


def _depths(text: str) -> list[DepthReading]:
    """One depth, or several with places, with blanks or semicolons between them."""
    words = text.replace(";", " ").split()
    if not words:
        raise ValueError("found none; put a ruler upright into the water and type what it shows, in mm")
    return [DepthReading(*given.depth(word)) for word in words]
