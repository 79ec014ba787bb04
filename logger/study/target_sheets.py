"""Sheets to calibrate with, at true scale, each page with a few words on how to mount and check it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from calibration.errors import CalibrationError
from calibration.targets import GRID_ACROSS_MM, GRID_UPRIGHT_MM, LENS_BOARD, PLANE_BOARD, RIM_NUMBERS, RIM_SIZE_MM
from logger.study import target_pages as pages
from logger.study.paper import MM_PER_POINT, Paper, Sheet

_TEXT_PT, _TITLE_PT = 8.5, 15.0
_PLACE = "print targets"


def _size(board_columns: int, board_rows: int, square_mm: float) -> str:
    return (
        f"{board_columns} squares across must be {board_columns * square_mm:g} mm and {board_rows} squares up "
        f"{board_rows * square_mm:g} mm"
    )


@dataclass(frozen=True, slots=True)
class Target:
    """One kind of page."""

    title: str
    notes: tuple[str, ...]


TARGETS = {
    "lens-board": Target(
        "Lens board",
        (
            f"Measure with a ruler: {_size(LENS_BOARD.columns, LENS_BOARD.rows, LENS_BOARD.square_mm)}. Measure the "
            "bar at the foot, too: boatrun calibrate lens asks for it (--ruler-mm).",
            "Glue it without bubbles onto something stiff and flat, such as acrylic, glass or thick foam board; a "
            "board that bows by a millimetre bends the lens in the result. Lay a straight edge on it: no gap.",
            "Keep it dry and matt: glossy film mirrors the lamp and hides the corners. Against splashes, a matt pouch.",
            "Lock the camera's focus first. Show the board from 15 sides or more, tilted by 20 to 40 degrees to the "
            "left, to the right, up and down, near enough to fill half of the picture, and in every corner of it.",
        ),
    ),
    "plane-board": Target(
        "Floating board for the water plane",
        (
            f"Measure: {_size(PLANE_BOARD.columns, PLANE_BOARD.rows, PLANE_BOARD.square_mm)}; and the bar at the foot.",
            "Laminate it matt, with 10 mm of film around the paper pressed shut, or the edge soaks; glue it flat onto "
            "10 to 20 mm of closed-cell foam. Small coins on the corners level it.",
            "Float it, wait until it is still, and measure with a ruler how high the printed face lies above the "
            "water, at all four sides: within 1 mm of each other. Where it floats does not matter; its height does.",
            "The arrow points the way of the run. Wet hands and mains do not go together; laminators are hot.",
        ),
    ),
    "rim-marks": Target(
        "Marks for the rim of the tank",
        (
            "Cut along the dashed line; keep all the white. Laminate matt, or cover with clear matt tape, edges "
            "sealed. Tape them level, face up, on the rim, above the water: one in each corner, one on each long side.",
            "The four ticks point at the middle of the square. Measure the middle: along the run from the start line, "
            "to the left of the middle line, and up from the water, each to a millimetre.",
            "Each number may be there once only. They are not for boats: boats have numbers of another kind "
            "(boatrun print tags). If the bar at the foot is not 100 mm long, measure the black itself.",
            "Leave them there: they also show later whether the camera has moved. Scissors: with an adult.",
        ),
    ),
    "plane-grid": Target(
        "Grid for the floor of a dry tank",
        (
            f"Measure: from corner target to corner target {GRID_ACROSS_MM:g} mm across and {GRID_UPRIGHT_MM:g} mm up.",
            "Laminate it matt, tape it flat to the dry floor on all sides, no air below it, its arrow the way of the "
            "run. Several sheets may lie apart; measure where the corner targets are, in mm from the start line.",
            "Take its picture dry, then fill the tank; or take it through the still water. Either way measure the "
            "depth of the water: a floor seen through water looks nearer, by 6 % at 100 mm below a camera at 1.2 m, "
            "and the picture alone cannot show it.",
        ),
    ),
    "light-card": Target(
        "Card for the light that measures the camera's delay",
        (
            f"Cut it out, glue it onto card, and push a {pages.LIGHT_HOLE_MM:g} mm LED through the white dot from "
            "behind, with its resistor. The black keeps its light from spreading over the picture.",
            "Lay it near the middle of the picture, above the water and dry; only the extra-low voltage of the rig, "
            "never the mains, near the tank. A clear bag keeps splashes off.",
            "Dim it until its middle is not cut off to white: sandpaper the LED, or put paper over it. Then: boatrun "
            "calibrate light. It flashes at most three times in a second; warn people with photosensitive epilepsy, or "
            "cover it from their sight.",
        ),
    ),
    "focus-card": Target(
        "Card for focus and exposure",
        (
            "Lay it where the boats will be, at the height of the water; laminate it matt if it may get wet.",
            "Focus until the star is grey in as small a middle as can be. Where its sectors melt into grey at 10 mm "
            f"across, line pairs of {3.14159 * 10 / pages.STAR_PAIRS_COUNT:.1f} mm are lost. Then lock the focus.",
            "Expose so that all six steps look different, paper reads 180 to 235 of 255 in the picture, and full ink "
            "below 60. Then lock exposure and gain. The leaning square has edges 5 degrees off, for slanted-edge "
            "readings (ISO 12233). Printers differ: the steps compare, they do not measure.",
            "Measure: the star is 80 mm across, the side of the leaning square 50 mm.",
        ),
    ),
}
"""Name of a page on the command line -> its title and what is printed below it."""


def target_sheets(
    names: Sequence[str],
    paper: Paper,
    *,
    rim_numbers: Sequence[int] = RIM_NUMBERS,
    rim_size_mm: float = RIM_SIZE_MM,
) -> bytes:
    """The PDF file with the pages `names`, each once, in that order.

    Raises:
        CalibrationError: there is no such page, none is wanted, or a rim mark cannot be printed.
    """
    unknown = [name for name in names if name not in TARGETS]
    if unknown or not names:
        found = repr(unknown[0]) if unknown else "none"
        raise CalibrationError(_PLACE, [f"found {found}; wanted pages of {', '.join(TARGETS)}; see --only"])
    marks = pages.rim_placed(rim_numbers, rim_size_mm, paper) if "rim-marks" in names else ()
    drawn: list[tuple[str, Callable[[Sheet], None]]] = []
    for name in names:
        if name == "rim-marks":
            last = marks[-1].page_index if marks else -1
            for page in range(last + 1):
                here = [mark for mark in marks if mark.page_index == page]
                drawn.append((name, partial(pages.draw_rim, marks=here)))
        else:
            drawn.append((name, _DRAWN[name]))
    sheet = Sheet(paper, title="Targets to calibrate with")
    for number, (name, draw) in enumerate(drawn, 1):
        draw_head(sheet, TARGETS[name])
        draw(sheet)
        sheet.end_page(f"{paper.name}, page {number} of {len(drawn)}")
    return sheet.pdf()


def _plane_board(sheet: Sheet) -> None:
    pages.draw_board(sheet, PLANE_BOARD)
    pages.draw_run_arrow(sheet, above_mm=pages.board_box_mm(PLANE_BOARD, sheet.paper))


_DRAWN: dict[str, Callable[[Sheet], None]] = {
    "lens-board": partial(pages.draw_board, board=LENS_BOARD),
    "plane-board": _plane_board,
    "plane-grid": pages.draw_grid,
    "light-card": pages.draw_light,
    "focus-card": pages.draw_focus,
}


def draw_head(sheet: Sheet, target: Target) -> float:
    """Title and notes; returns where the next base line would be, mm."""
    left_mm, lower_mm, across_mm, upright_mm = sheet.paper.inside_mm
    y_mm = lower_mm + upright_mm - _TITLE_PT * MM_PER_POINT
    sheet.text(target.title, at_mm=(left_mm, y_mm), size_pt=_TITLE_PT, bold=True)
    y_mm -= 1.2 * _TITLE_PT * MM_PER_POINT
    for number, words in enumerate(target.notes, 1):
        y_mm = sheet.block(f"{number}. {words}", at_mm=(left_mm, y_mm), width_mm=across_mm, size_pt=_TEXT_PT)
    return y_mm
