"""A page that is filled from its head down: headings, sentences, lines to write on, tables; when full, it is turned.

Every page has the class, the day and the version at its foot; a pupil's page has room for a name at its head, which
only the pupil writes there. Pupils' text is 18 points where there is room, never less than 12.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger import __version__
from logger.study.class_folder import Class
from logger.study.paper import MARGIN_MM, MM_PER_POINT, Paper, Sheet
from logger.study.tongue import _, several

PUPIL_PT, TEACHER_PT, TITLE_PT, TABLE_PT = 16.0, 12.0, 22.0, 11.0
_FOOT_MM = 8.0


class Flow:
    """One or more pages of one sheet, being filled."""

    def __init__(
        self, sheet: Sheet, whole: Class, title: str, *, own_name: bool = False, measured: bool = False
    ) -> None:
        """`own_name`: with room for the pupil's name; `measured`: with the bar that shows the scale, at its foot."""
        self.sheet, self._whole, self._title = sheet, whole, title
        self._own_name, self._measured = own_name, measured
        self.left_mm, self._low_mm, self.width_mm, height_mm = sheet.paper.inside_mm
        self._top_mm = self._low_mm + height_mm
        if not measured:
            self._low_mm = MARGIN_MM + _FOOT_MM
        self.y_mm = self._top_mm
        self._head()

    @property
    def paper(self) -> Paper:
        """What is printed on."""
        return self.sheet.paper

    @property
    def room_mm(self) -> float:
        """Height that is left on this page."""
        return self.y_mm - self._low_mm

    def _head(self) -> None:
        self.y_mm = self._top_mm - TITLE_PT * MM_PER_POINT
        size = self._fitting(self._title, self.width_mm, TITLE_PT, bold=True)
        self.sheet.text(self._title, at_mm=(self.left_mm, self.y_mm), size_pt=size, bold=True)
        if self._own_name:
            self.y_mm -= 10.0
            words = _("My name:")
            self.sheet.text(words, at_mm=(self.left_mm, self.y_mm), size_pt=TEACHER_PT)
            begins = self.left_mm + self.sheet.width_mm(words, size_pt=TEACHER_PT) + 3
            self.sheet.line((begins, self.y_mm - 1), (self.left_mm + self.width_mm, self.y_mm - 1))
        self.y_mm -= 5.0

    def _fitting(self, line: str, width_mm: float, size_pt: float, *, bold: bool) -> float:
        """The size at which a line that cannot be broken stays inside; words are longer in some languages."""
        wide = self.sheet.width_mm(line, size_pt=size_pt, bold=bold)
        return size_pt if wide <= width_mm else size_pt * width_mm / wide

    def heading(self, words: str, *, size_pt: float = PUPIL_PT) -> None:
        """A line that says what comes."""
        self.need(3.4 * size_pt * MM_PER_POINT)
        self.y_mm -= 1.5 * size_pt * MM_PER_POINT
        self.sheet.text(words, at_mm=(self.left_mm, self.y_mm), size_pt=size_pt, bold=True)
        self.y_mm -= 0.5 * size_pt * MM_PER_POINT

    def say(self, words: str, *, size_pt: float = PUPIL_PT, indent_mm: float = 0.0) -> None:
        """Sentences."""
        width = self.width_mm - indent_mm
        lines = self.sheet.lines(words, width_mm=width, size_pt=size_pt)
        self.need(1.3 * len(lines) * size_pt * MM_PER_POINT)
        self.y_mm -= size_pt * MM_PER_POINT
        after = self.sheet.block(words, at_mm=(self.left_mm + indent_mm, self.y_mm), width_mm=width, size_pt=size_pt)
        self.y_mm = after + 0.75 * size_pt * MM_PER_POINT

    def write(self, count: int, *, gap_mm: float = 9.0) -> None:
        """Lines to write on."""
        self.need(count * gap_mm)
        for _i in range(count):
            self.y_mm -= gap_mm
            self.sheet.line((self.left_mm, self.y_mm), (self.left_mm + self.width_mm, self.y_mm))

    def frame(self, height_mm: float, words: str = "") -> None:
        """An empty frame to draw in."""
        self.need(height_mm + 3)
        self.y_mm -= height_mm + 2
        self.sheet.box((self.left_mm, self.y_mm, self.width_mm, height_mm))
        if words:
            self.sheet.text(words, at_mm=(self.left_mm + 2, self.y_mm + height_mm - 5), size_pt=10)

    def table(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        *,
        shares: Sequence[float],
        row_mm: float = 8.0,
        size_pt: float = TABLE_PT,
    ) -> None:
        """A table; `shares` are the widths of its columns against each other. Heads are drawn again on a new page."""
        widths = [self.width_mm * share / sum(shares) for share in shares]
        self._row(heads, widths, self._height(heads, widths, row_mm, size_pt, bold=True), size_pt, bold=True)
        for cells in rows:
            height = self._height(cells, widths, row_mm, size_pt, bold=False)
            if self.room_mm < height:
                self.turn()
                self._row(heads, widths, self._height(heads, widths, row_mm, size_pt, bold=True), size_pt, bold=True)
            self._row(cells, widths, height, size_pt, bold=False)

    def _height(
        self, cells: Sequence[str], widths: Sequence[float], least: float, size_pt: float, *, bold: bool
    ) -> float:
        most = max(
            (
                len(self._lines(words, width - 3, size_pt, bold=bold))
                for words, width in zip(cells, widths, strict=True)
            ),
            default=1,
        )
        return max(least, (1.3 * most + 0.6) * size_pt * MM_PER_POINT)

    def _lines(self, words: str, width_mm: float, size_pt: float, *, bold: bool) -> list[str]:
        return self.sheet.lines(words, width_mm=width_mm, size_pt=size_pt, bold=bold)

    def _row(self, cells: Sequence[str], widths: Sequence[float], height: float, size_pt: float, *, bold: bool) -> None:
        self.y_mm -= height
        x = self.left_mm
        for words, width in zip(cells, widths, strict=True):
            if bold:
                self.sheet.grey((x, self.y_mm, width, height), ink_share=0.1)
            self.sheet.box((x, self.y_mm, width, height), line_mm=0.2)
            lines = self._lines(words, width - 3, size_pt, bold=bold)
            lower = self.y_mm + (height + (1.3 * len(lines) - 1.9) * size_pt * MM_PER_POINT) / 2
            for i, line in enumerate(lines):
                at = (x + 1.5, lower - 1.3 * i * size_pt * MM_PER_POINT)
                fits = self._fitting(line, width - 2.2, size_pt, bold=bold)
                self.sheet.text(line, at_mm=at, size_pt=fits, bold=bold)
            x += width

    def space(self, height_mm: float) -> None:
        """Leave some paper white."""
        self.y_mm -= height_mm

    def need(self, height_mm: float) -> None:
        """Turn the page if less than that is left of it."""
        if self.room_mm < height_mm:
            self.turn()

    def turn(self) -> None:
        """End this page and begin the next one of the sheet."""
        self._foot()
        self._head()

    def end(self) -> None:
        """End the last page."""
        self._foot()

    def _foot(self) -> None:
        void = sum(one.run.trial.status == "void" for one in self._whole.runs)
        parts = [self._whole.name, self._whole.date, f"boatrun {__version__}", self.paper.name]
        if self._whole.is_simulated:
            parts.append(_("simulated"))
        if void:
            parts.append(several("{n} void run not counted", "{n} void runs not counted", void).format(n=void))
        if gone := len(self._whole.missing):
            parts.append(several("{n} run missing", "{n} runs missing", gone).format(n=gone))
        note = " · ".join(parts)
        if self._measured:
            at = (self.left_mm, self._low_mm - 0.5)
            self.sheet.text(note, at_mm=at, size_pt=7)
            self.sheet.end_page("")
        else:
            self.sheet.turn_page(note)
