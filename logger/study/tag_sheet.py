"""Sheets of tags for decks: squares with a number, and discs, at true scale, to be cut out.

Around each square stands its quiet border; the arrow to the bow and the number are outside it. A square is one filled
path, never a picture, so that its edges are as sharp as the printer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration import tags
from calibration.errors import CalibrationError
from logger.study.cells import black_boxes
from logger.study.paper import MM_PER_POINT, Box, Paper, Sheet

LEAST_SIZE_MM = 10.0
_GAP_MM = 3.0
_HEAD_MM = 35.0
_ARROW_MM, _LABEL_MM = 5.0, 6.0  # bands above and below, for the arrow and the number
_ARROW_HALF_MM, _ARROW_TALL_MM = 3.0, 3.5
_TEXT_PT, _TITLE_PT = 8.5, 15.0
_PLACE = "print tags"

_WORDS = (
    "Cut along the dashed line; keep all the white. Stick it flat on the deck, its arrow to the bow. Measure from the "
    "tag's middle to the bow, and from the water up to the tag.",
    "Write number, size and these two lengths on the boat's card, as [boat.tag]. Give every boat a number of its own; "
    "a disc has none and no arrow: use it where a square is too large.",
    "Against water, laminate matt: glossy film glares in the lamp. If the bar below is not 100 mm long, print again, "
    "or measure the black itself and enter that as size_mm. Scissors are sharp and laminators hot: with an adult.",
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """One tag on a sheet."""

    number: int | None
    """None: a disc."""
    size_mm: float

    @property
    def quiet_mm(self) -> float:
        """White around the black."""
        if self.number is None:
            return tags.DISC_QUIET_SHARE * self.size_mm
        return tags.quiet_mm(self.size_mm)

    @property
    def width_mm(self) -> float:
        """From cut line to cut line."""
        return self.size_mm + 2 * self.quiet_mm

    @property
    def height_mm(self) -> float:
        """From cut line to cut line, with the number, and a square's arrow."""
        return self.width_mm + _LABEL_MM + (0.0 if self.number is None else _ARROW_MM)


@dataclass(frozen=True, slots=True)
class Placed:
    """A tag and where it stands."""

    tag: Wanted
    page_index: int
    box_mm: Box
    """Of the cut line."""

    @property
    def black_mm(self) -> Box:
        """Around the black square or disc."""
        left_mm, lower_mm, _, _ = self.box_mm
        quiet_mm, size_mm = self.tag.quiet_mm, self.tag.size_mm
        return left_mm + quiet_mm, lower_mm + _LABEL_MM + quiet_mm, size_mm, size_mm


def placed(wanted: Sequence[Wanted], paper: Paper) -> tuple[Placed, ...]:
    """Row by row, page by page, in the order in which they are wanted.

    Raises:
        CalibrationError: a tag is too small or too large for the paper, has no number in the family, or there is none.
    """
    if not wanted:
        raise CalibrationError(_PLACE, ["found no tag to print; wanted numbers or discs; see --numbers and --discs"])
    left_mm, lower_mm, across_mm, upright_mm = paper.inside_mm
    top_mm = lower_mm + upright_mm - _HEAD_MM
    found, page, x_mm, y_mm, row_mm = [], 0, left_mm, top_mm, 0.0
    for tag in wanted:
        _check(tag, paper, across_mm=across_mm, upright_mm=upright_mm - _HEAD_MM)
        if x_mm + tag.width_mm > left_mm + across_mm:
            x_mm, y_mm, row_mm = left_mm, y_mm - row_mm - _GAP_MM, 0.0
        if y_mm - tag.height_mm < lower_mm:
            page, x_mm, y_mm, row_mm = page + 1, left_mm, top_mm, 0.0
        found.append(Placed(tag, page, (x_mm, y_mm - tag.height_mm, tag.width_mm, tag.height_mm)))
        x_mm, row_mm = x_mm + tag.width_mm + _GAP_MM, max(row_mm, tag.height_mm)
    return tuple(found)


def tag_sheets(wanted: Sequence[Wanted], paper: Paper) -> bytes:
    """The PDF file.

    Raises:
        CalibrationError: as `placed`.
    """
    every = placed(wanted, paper)
    sheet = Sheet(paper, title="Tags for boats")
    pages_count = every[-1].page_index + 1
    for page in range(pages_count):
        here = [one for one in every if one.page_index == page]
        _head(sheet, here)
        for one in here:
            _draw(sheet, one)
        sheet.end_page(f"{paper.name}, page {page + 1} of {pages_count}")
    return sheet.pdf()


def _check(tag: Wanted, paper: Paper, *, across_mm: float, upright_mm: float) -> None:
    if tag.number is not None:
        tags.check_number(tag.number, place=_PLACE)
    per_size = tag.width_mm / tag.size_mm if tag.size_mm > 0 else 1.0
    most_mm = min(across_mm, upright_mm - _ARROW_MM - _LABEL_MM) / per_size
    if not LEAST_SIZE_MM <= tag.size_mm <= most_mm:
        kind = "disc" if tag.number is None else "square"
        raise CalibrationError(
            _PLACE,
            [
                f"found a {kind} of {tag.size_mm:g} mm; wanted {LEAST_SIZE_MM:g} to {int(most_mm)} mm on {paper.name}; "
                "choose another size"
            ],
        )


def _head(sheet: Sheet, here: Sequence[Placed]) -> None:
    left_mm, lower_mm, across_mm, upright_mm = sheet.paper.inside_mm
    sizes = ", ".join(f"{size_mm:g} mm" for size_mm in sorted({one.tag.size_mm for one in here}, reverse=True))
    y_mm = lower_mm + upright_mm - _TITLE_PT * MM_PER_POINT
    sheet.text(f"Tags for boats, {sizes}", at_mm=(left_mm, y_mm), size_pt=_TITLE_PT, bold=True)
    y_mm -= 1.2 * _TITLE_PT * MM_PER_POINT
    for number, words in enumerate(_WORDS, 1):
        y_mm = sheet.block(f"{number}. {words}", at_mm=(left_mm, y_mm), width_mm=across_mm, size_pt=_TEXT_PT)


def _draw(sheet: Sheet, one: Placed) -> None:
    left_mm, lower_mm, width_mm, height_mm = one.box_mm
    middle_mm = left_mm + width_mm / 2
    sheet.cut_line(one.box_mm)
    black_left_mm, black_lower_mm, size_mm, _ = one.black_mm
    if one.tag.number is None:
        sheet.ring(
            middle_mm=(black_left_mm + size_mm / 2, black_lower_mm + size_mm / 2),
            diameter_mm=size_mm,
            hole_mm=tags.DISC_DOT_SHARE * size_mm,
        )
        sheet.text(f"disc {size_mm:g} mm", at_mm=(middle_mm, lower_mm + 2.0), size_pt=_label_pt(width_mm), middle=True)
        return
    sheet.black(black_boxes(tags.cells(one.tag.number), one.black_mm))
    foot_mm = lower_mm + height_mm - _ARROW_MM + 0.5
    half_mm = min(_ARROW_HALF_MM, width_mm / 6)
    sheet.shape([(middle_mm - half_mm, foot_mm), (middle_mm + half_mm, foot_mm), (middle_mm, foot_mm + _ARROW_TALL_MM)])
    sheet.text("bow", at_mm=(middle_mm + half_mm + 1, foot_mm + 0.3), size_pt=min(7.0, _label_pt(width_mm)))
    number_at_mm, number_pt = (left_mm + 0.3 * width_mm, lower_mm + 1.4), min(13.0, 0.65 * width_mm)
    sheet.text(f"{one.tag.number}", at_mm=number_at_mm, size_pt=number_pt, bold=True, middle=True)
    sheet.text(
        f"{size_mm:g} mm", at_mm=(left_mm + 0.68 * width_mm, lower_mm + 1.8), size_pt=_label_pt(width_mm), middle=True
    )


def _label_pt(width_mm: float) -> float:
    """Smaller type where the tag is small."""
    return max(4.0, min(9.0, 0.28 * width_mm))
