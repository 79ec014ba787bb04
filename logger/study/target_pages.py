"""What is drawn on each page of targets, below its head; where it stands is told, so that it can be measured.

The star is Siemens's: black and white sectors whose width grows with the distance from the middle. Where they melt into
grey, at a diameter d, a pair of lines is π·d/36 wide. The leaning square has edges 5 degrees off the rows and columns
of the picture, from which a slanted-edge reading (ISO 12233, from memory) can be taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration import tags
from calibration.board import CharucoBoard
from calibration.errors import CalibrationError
from calibration.targets import GRID_ACROSS_MM, GRID_STEP_MM, GRID_UPRIGHT_MM
from logger.study.cells import black_boxes, board_boxes
from logger.study.paper import Box, Paper, Sheet

LEAST_RIM_MM = 30.0
STAR_PAIRS_COUNT, STAR_MM, STAR_HOLE_MM = 36, 80.0, 4.0
EDGE_MM, EDGE_LEANS_DEG = 50.0, 5.0
STEPS_SHARE = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
STEP_MM = 24.0
LIGHT_CARD_MM, LIGHT_HOLE_MM = 120.0, 5.0
_FOOT_GAP_MM = 5.0
_RIM_GAP_MM, _RIM_LABEL_MM, _TICK_MM = 2.0, 6.0, 2.0
_TARGET_MM = 10.0
_HEAD_MM = 41.0


def board_box_mm(board: CharucoBoard, paper: Paper) -> Box:
    """Where the board's squares stand on its page: in the middle, above the foot."""
    left_mm, lower_mm, across_mm, _ = paper.inside_mm
    width_mm, height_mm = board.columns * board.square_mm, board.rows * board.square_mm
    return left_mm + (across_mm - width_mm) / 2, lower_mm + _FOOT_GAP_MM, width_mm, height_mm


def draw_board(sheet: Sheet, board: CharucoBoard) -> None:
    """A coded board."""
    left_mm, lower_mm, _, _ = board_box_mm(board, sheet.paper)
    sheet.black(board_boxes(board, left_mm=left_mm, lower_mm=lower_mm))


def draw_run_arrow(sheet: Sheet, *, above_mm: Box) -> None:
    """An arrow from left to right just above a box: the way the boats go."""
    left_mm, lower_mm, width_mm, height_mm = above_mm
    y_mm, tip_mm = lower_mm + height_mm + 3.5, left_mm + width_mm
    sheet.black([(tip_mm - 40, y_mm - 0.4, 36, 0.8)])
    sheet.shape([(tip_mm - 5, y_mm - 2), (tip_mm - 5, y_mm + 2), (tip_mm, y_mm)])
    sheet.text("the way of the run (x)", at_mm=(tip_mm - 85, y_mm - 1), size_pt=8)


@dataclass(frozen=True, slots=True)
class RimPlaced:
    """A mark of the rim and where it stands."""

    number: int
    """As it is printed below the mark."""
    page_index: int
    black_mm: Box
    """Around its black square."""


def rim_placed(numbers: Sequence[int], size_mm: float, paper: Paper) -> tuple[RimPlaced, ...]:
    """Row by row, page by page. CalibrationError: no such number, or a size that does not fit."""
    left_mm, lower_mm, across_mm, upright_mm = paper.inside_mm
    quiet_mm = tags.quiet_mm(size_mm, tags.RIM_FAMILY) + _TICK_MM
    width_mm, height_mm = size_mm + 2 * quiet_mm, size_mm + 2 * quiet_mm + _RIM_LABEL_MM
    room_mm = upright_mm - _HEAD_MM
    columns = int((across_mm + _RIM_GAP_MM) / (width_mm + _RIM_GAP_MM))
    rows = int((room_mm + _RIM_GAP_MM) / (height_mm + _RIM_GAP_MM))
    if size_mm < LEAST_RIM_MM or columns < 1 or rows < 1:
        most_mm = int((min(across_mm, room_mm - _RIM_LABEL_MM) - 2 * _TICK_MM) * 8 / 10)
        raise CalibrationError(
            "print targets",
            [
                f"found rim marks of {size_mm:g} mm; wanted {LEAST_RIM_MM:g} to {most_mm} mm on {paper.name}; "
                "choose another size"
            ],
        )
    placed = []
    for index, number in enumerate(numbers):
        tags.check_number(number, place="print targets", family=tags.RIM_FAMILY)
        page, cell = divmod(index, columns * rows)
        row, column = divmod(cell, columns)
        x_mm = left_mm + column * (width_mm + _RIM_GAP_MM) + quiet_mm
        y_mm = lower_mm + room_mm - row * (height_mm + _RIM_GAP_MM) - quiet_mm - size_mm
        placed.append(RimPlaced(number, page, (x_mm, y_mm, size_mm, size_mm)))
    return tuple(placed)


def draw_rim(sheet: Sheet, marks: Sequence[RimPlaced]) -> None:
    """The marks of one page, each with a cut line, ticks in line with its middle, and its number."""
    for mark in marks:
        x_mm, y_mm, size_mm, _ = mark.black_mm
        quiet_mm = tags.quiet_mm(size_mm, tags.RIM_FAMILY)
        sheet.black(black_boxes(tags.cells(mark.number, tags.RIM_FAMILY), mark.black_mm))
        out_mm = quiet_mm + _TICK_MM
        whole_mm = size_mm + 2 * out_mm
        sheet.cut_line((x_mm - out_mm, y_mm - out_mm - _RIM_LABEL_MM, whole_mm, whole_mm + _RIM_LABEL_MM))
        half_mm = size_mm / 2
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            near_mm, far_mm = half_mm + quiet_mm, half_mm + out_mm
            middle_mm = (x_mm + half_mm, y_mm + half_mm)
            sheet.line(
                (middle_mm[0] + dx * near_mm, middle_mm[1] + dy * near_mm),
                (middle_mm[0] + dx * far_mm, middle_mm[1] + dy * far_mm),
            )
        label_mm = y_mm - out_mm - _RIM_LABEL_MM + 2.0
        sheet.text(f"rim {mark.number}", at_mm=(x_mm, label_mm), size_pt=12, bold=True)
        sheet.text(f"{size_mm:g} mm", at_mm=(x_mm + size_mm - 12, label_mm), size_pt=8)


def grid_box_mm(paper: Paper) -> Box:
    """Where the first and last lines of the grid stand."""
    left_mm, lower_mm, across_mm, _ = paper.inside_mm
    return left_mm + (across_mm - GRID_ACROSS_MM) / 2, lower_mm + 10, GRID_ACROSS_MM, GRID_UPRIGHT_MM


def draw_grid(sheet: Sheet) -> None:
    """Lines with their distance in mm, and at each corner a target of two black quarters to point at."""
    left_mm, lower_mm, width_mm, height_mm = grid_box_mm(sheet.paper)
    for index in range(int(width_mm / GRID_STEP_MM) + 1):
        x_mm = left_mm + index * GRID_STEP_MM
        sheet.line((x_mm, lower_mm), (x_mm, lower_mm + height_mm))
        sheet.text(f"{index * GRID_STEP_MM:g}", at_mm=(x_mm, lower_mm - 9), size_pt=7, middle=True)
    for index in range(int(height_mm / GRID_STEP_MM) + 1):
        y_mm = lower_mm + index * GRID_STEP_MM
        sheet.line((left_mm, y_mm), (left_mm + width_mm, y_mm))
        sheet.text(f"{index * GRID_STEP_MM:g}", at_mm=(left_mm - 8, y_mm - 1), size_pt=7, middle=True)
    half_mm = _TARGET_MM / 2
    sheet.black(
        box
        for x_mm in (left_mm, left_mm + width_mm)
        for y_mm in (lower_mm, lower_mm + height_mm)
        for box in ((x_mm - half_mm, y_mm, half_mm, half_mm), (x_mm, y_mm - half_mm, half_mm, half_mm))
    )
    draw_run_arrow(sheet, above_mm=(left_mm, lower_mm + 5, width_mm, height_mm))


def light_box_mm(paper: Paper) -> Box:
    """Where the black of the light card stands."""
    left_mm, lower_mm, across_mm, _ = paper.inside_mm
    return left_mm + (across_mm - LIGHT_CARD_MM) / 2, lower_mm + 25, LIGHT_CARD_MM, LIGHT_CARD_MM


def draw_light(sheet: Sheet) -> None:
    """A black square with a white dot in its middle for the light."""
    left_mm, lower_mm, width_mm, _ = box_mm = light_box_mm(sheet.paper)
    middle_mm, half_mm = (left_mm + width_mm / 2, lower_mm + width_mm / 2), width_mm / 2
    sheet.cut_line((left_mm - 4, lower_mm - 4, width_mm + 8, width_mm + 8))
    sheet.black_with_hole(box_mm, middle_mm=middle_mm, hole_mm=LIGHT_HOLE_MM)
    sheet.text("up in the picture", at_mm=(middle_mm[0], middle_mm[1] + half_mm + 6), size_pt=8, middle=True)


def focus_places_mm(paper: Paper) -> tuple[tuple[float, float], tuple[float, float], Box]:
    """Middles of the star and of the leaning square, and the box of all grey steps."""
    left_mm, lower_mm, across_mm, _ = paper.inside_mm
    steps_mm = len(STEPS_SHARE) * STEP_MM
    box_mm = (left_mm + (across_mm - steps_mm) / 2, lower_mm + 14, steps_mm, STEP_MM)
    y_mm = box_mm[1] + STEP_MM + 20 + STAR_MM / 2
    return (left_mm + 10 + STAR_MM / 2, y_mm), (left_mm + across_mm - 15 - EDGE_MM / 2, y_mm), box_mm


def draw_focus(sheet: Sheet) -> None:
    """A star, a leaning square and steps of grey."""
    star_mm, edge_mm, steps_mm = focus_places_mm(sheet.paper)
    _draw_star(sheet, star_mm)
    lean = math.radians(EDGE_LEANS_DEG)
    reach_mm = EDGE_MM / 2 * math.sqrt(2)
    turns = [lean + math.pi / 4 + quarter * math.pi / 2 for quarter in range(4)]
    sheet.shape([(edge_mm[0] + reach_mm * math.cos(turn), edge_mm[1] + reach_mm * math.sin(turn)) for turn in turns])
    left_mm, lower_mm, width_mm, height_mm = steps_mm
    for index, share in enumerate(STEPS_SHARE):
        x_mm = left_mm + index * STEP_MM
        sheet.grey((x_mm, lower_mm, STEP_MM, STEP_MM), ink_share=share)
        words = "paper" if share == 0 else f"{share:.0%} ink"
        sheet.text(words, at_mm=(x_mm + STEP_MM / 2, lower_mm - 4), size_pt=7, middle=True)
    sheet.cut_line((left_mm, lower_mm, width_mm, height_mm))


def _draw_star(sheet: Sheet, middle_mm: tuple[float, float]) -> None:
    for pair in range(STAR_PAIRS_COUNT):
        begins = 2 * math.pi * pair / STAR_PAIRS_COUNT
        turns = [begins + step * math.pi / STAR_PAIRS_COUNT / 4 for step in range(5)]
        outer = [(STAR_MM / 2, turn) for turn in turns]
        inner = [(STAR_HOLE_MM / 2, turn) for turn in reversed(turns)]
        x_mm, y_mm = middle_mm
        sheet.shape([(x_mm + r_mm * math.cos(turn), y_mm + r_mm * math.sin(turn)) for r_mm, turn in outer + inner])
