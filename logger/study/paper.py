"""Sheets of paper at true scale: all lengths in millimetres, from the lower left corner of the page, y upwards.

A printer or a viewer may still scale a page ("fit to page"), so every sheet carries a bar to measure, and asks the
viewer not to scale (ISO 32000-1, 12.2, PrintScaling). All is black on white, so that grey printers lose nothing; the
font is embedded. The left margin leaves room for filing holes: ISO 838 has holes of 6 mm whose middles are 12 mm from
the edge. The other margins are what printers leave blank (common practice, no source).
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

from reportlab.lib.colors import black, white
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from logger.study.tongue import _

MARGIN_MM = 10.0
HOLE_MARGIN_MM = 20.0
BAR_MM = 100.0
FOOT_MM = 15.0
"""Height of the foot with the bar, above the lower margin."""

MM_PER_POINT = 25.4 / 72
_PLAIN, _BOLD = "Vera", "VeraBd"
_HAIRLINE_MM = 0.2
_DASH_MM = (1.5, 1.0)

Box: TypeAlias = tuple[float, float, float, float]
"""Left, lower edge, width, height in mm."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper, upright."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def inside_mm(self) -> Box:
        """What may be printed on, without the foot."""
        lower_mm = MARGIN_MM + FOOT_MM
        return (
            HOLE_MARGIN_MM,
            lower_mm,
            self.width_mm - HOLE_MARGIN_MM - MARGIN_MM,
            self.height_mm - MARGIN_MM - lower_mm,
        )


PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("Letter", 215.9, 279.4)}
"""ISO 216, and 8.5 × 11 inches (ANSI A)."""


class Sheet:
    """Pages being drawn."""

    def __init__(self, paper: Paper, *, title: str) -> None:
        for name in (_PLAIN, _BOLD):
            _register(name)
        self.paper = paper
        self._kept = io.BytesIO()
        # invariant: the same sheet is the same file, byte for byte
        self._canvas = Canvas(
            self._kept, pagesize=(_points(paper.width_mm), _points(paper.height_mm)), invariant=1, lang="en"
        )
        self._canvas.setTitle(title)
        self._canvas.setAuthor("boatrun")
        self._canvas.setViewerPreference("PrintScaling", "None")

    def text(
        self, words: str, *, at_mm: tuple[float, float], size_pt: float, bold: bool = False, middle: bool = False
    ) -> None:
        """One line of text with its base line at `at_mm`, which is its left end, or its middle."""
        self._canvas.setFont(_BOLD if bold else _PLAIN, size_pt)
        draw = self._canvas.drawCentredString if middle else self._canvas.drawString
        draw(_points(at_mm[0]), _points(at_mm[1]), words)

    def block(
        self, words: str, *, at_mm: tuple[float, float], width_mm: float, size_pt: float, bold: bool = False
    ) -> float:
        """Text broken into lines, the first base line at `at_mm`; returns where the base line after them is, mm."""
        x_mm, y_mm = at_mm
        for line in simpleSplit(words, _BOLD if bold else _PLAIN, size_pt, _points(width_mm)):
            self.text(line, at_mm=(x_mm, y_mm), size_pt=size_pt, bold=bold)
            y_mm -= 1.3 * size_pt * MM_PER_POINT
        return y_mm

    def lines(self, words: str, *, width_mm: float, size_pt: float, bold: bool = False) -> list[str]:
        """How `block` would break the text."""
        return list(simpleSplit(words, _BOLD if bold else _PLAIN, size_pt, _points(width_mm)))

    def black(self, boxes_mm: Iterable[Box]) -> None:
        """Black boxes as one filled path: what touches has no seam."""
        path = self._canvas.beginPath()
        for box in boxes_mm:
            path.rect(*map(_points, box))
        self._canvas.drawPath(path, stroke=0, fill=1)

    def shape(self, corners_mm: Iterable[tuple[float, float]]) -> None:
        """A black shape with straight sides."""
        first, *others = corners_mm
        path = self._canvas.beginPath()
        path.moveTo(*map(_points, first))
        for corner in others:
            path.lineTo(*map(_points, corner))
        path.close()
        self._canvas.drawPath(path, stroke=0, fill=1)

    def ring(self, *, middle_mm: tuple[float, float], diameter_mm: float, hole_mm: float) -> None:
        """A black disc with a hole in it that the paper shows through."""
        path = self._canvas.beginPath()
        for across_mm in (diameter_mm, hole_mm):
            path.circle(*map(_points, middle_mm), _points(across_mm / 2))
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd

    def black_with_hole(self, box_mm: Box, *, middle_mm: tuple[float, float], hole_mm: float) -> None:
        """A black box with a round hole in it that the paper shows through."""
        path = self._canvas.beginPath()
        path.rect(*map(_points, box_mm))
        path.circle(*map(_points, middle_mm), _points(hole_mm / 2))
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=0)  # even-odd

    def grey(self, box_mm: Box, *, ink_share: float) -> None:
        """A box with so much ink, 0 to 1; printers make it of dots."""
        self._canvas.saveState()
        self._canvas.setFillGray(1 - ink_share)
        self._canvas.rect(*map(_points, box_mm), stroke=0, fill=1)
        self._canvas.restoreState()

    def cut_line(self, box_mm: Box) -> None:
        """A dashed frame."""
        self._canvas.saveState()
        self._canvas.setLineWidth(_points(_HAIRLINE_MM))
        self._canvas.setDash([_points(length_mm) for length_mm in _DASH_MM])
        self._canvas.rect(*map(_points, box_mm), stroke=1, fill=0)
        self._canvas.restoreState()

    def line(self, from_mm: tuple[float, float], to_mm: tuple[float, float]) -> None:
        """A thin line."""
        self._canvas.setLineWidth(_points(_HAIRLINE_MM))
        self._canvas.line(*map(_points, (*from_mm, *to_mm)))

    def trace(self, points_mm: Sequence[tuple[float, float]], *, line_mm: float = 0.5, dashed: bool = False) -> None:
        """A line through `points_mm`, at least two."""
        self._canvas.saveState()
        self._canvas.setLineWidth(_points(line_mm))
        if dashed:
            self._canvas.setDash([_points(length_mm) for length_mm in _DASH_MM])
        path = self._canvas.beginPath()
        path.moveTo(*map(_points, points_mm[0]))
        for point in points_mm[1:]:
            path.lineTo(*map(_points, point))
        self._canvas.drawPath(path, stroke=1, fill=0)
        self._canvas.restoreState()

    def dot(self, middle_mm: tuple[float, float], *, radius_mm: float, hollow: bool = False) -> None:
        """A black dot, or a ring with white inside."""
        self._canvas.saveState()
        self._canvas.setLineWidth(_points(0.35))
        self._canvas.setFillGray(1 if hollow else 0)
        self._canvas.circle(*map(_points, middle_mm), _points(radius_mm), stroke=1, fill=1)
        self._canvas.restoreState()

    def field(self, name: str, box_mm: Box, *, value: str, size_pt: float) -> None:
        """A field that can be filled in on a screen (ISO 32000-1, 12.7.4.3), with `value` in it; a frame on paper."""
        x, y, width, height = map(_points, box_mm)
        self._canvas.acroForm.textfield(
            name=name, tooltip=name, x=x, y=y, width=width, height=height, value=value, fontName="Helvetica",
            fontSize=size_pt, borderWidth=0.5, forceBorder=True, fillColor=white, textColor=black, borderColor=black,
        )  # fmt: skip

    def width_mm(self, words: str, *, size_pt: float, bold: bool = False) -> float:
        """How wide a line of text comes out."""
        return float(pdfmetrics.stringWidth(words, _BOLD if bold else _PLAIN, size_pt)) * MM_PER_POINT

    def box(self, box_mm: Box, *, line_mm: float = 0.35) -> None:
        """An empty frame, to tick or to write into."""
        self._canvas.saveState()
        self._canvas.setLineWidth(_points(line_mm))
        self._canvas.rect(*map(_points, box_mm), stroke=1, fill=0)
        self._canvas.restoreState()

    def banner(self, words: str, *, box_mm: Box, size_pt: float) -> None:
        """White words on a black box."""
        self.black([box_mm])
        self._canvas.saveState()
        self._canvas.setFillGray(1)
        lower_mm = box_mm[1] + (box_mm[3] - 0.72 * size_pt * MM_PER_POINT) / 2
        self.text(words, at_mm=(box_mm[0] + 2.5, lower_mm), size_pt=size_pt, bold=True)
        self._canvas.restoreState()

    def turn_page(self, note: str) -> None:
        """Turn a page on which nothing is to be measured, with `note` at its foot."""
        self.text(note, at_mm=(HOLE_MARGIN_MM, MARGIN_MM), size_pt=8)
        self._canvas.showPage()

    def end_page(self, note: str) -> None:
        """Draw the foot, with the bar to measure and `note`, and turn the page."""
        x_mm, y_mm = HOLE_MARGIN_MM, MARGIN_MM
        self.black([(x_mm, y_mm + 2.0, BAR_MM, 1.5)])
        for end in range(11):
            at_mm = x_mm + end * BAR_MM / 10
            inward_mm = _HAIRLINE_MM / 2 * (1 if end == 0 else -1 if end == 10 else 0)  # so that it does not stand out
            self.line((at_mm + inward_mm, y_mm + 2.0), (at_mm + inward_mm, y_mm + (6.5 if end in {0, 10} else 4.5)))
        said = _("This bar is {mm} mm. Print at 100 % (“actual size”), not “fit to page”, and measure it.").format(
            mm=f"{BAR_MM:g}"
        )
        self.text(said, at_mm=(x_mm, y_mm + 8.5), size_pt=8, bold=True)
        self.text(note, at_mm=(x_mm + BAR_MM + 6, y_mm + 2.0), size_pt=8)
        self._canvas.showPage()

    def pdf(self) -> bytes:
        """The file; nothing can be drawn afterwards."""
        self._canvas.save()
        return self._kept.getvalue()


def _points(length_mm: float) -> float:
    return length_mm / MM_PER_POINT


@cache
def _register(name: str) -> None:
    """Make a font that comes with ReportLab known, to be embedded."""
    pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
