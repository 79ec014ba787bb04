"""The report of an acceptance as a PDF to sign: what was tried, what came of it, and of which rig, files and software.

Nobody's name is printed: whoever signs does so by pen, with initials if they like.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.recording.acceptance_file import Acceptance
from logger.study.paper import HOLE_MARGIN_MM, MARGIN_MM, MM_PER_POINT, Paper, Sheet

_TITLE_PT, _ITEM_PT, _TEXT_PT = 17.0, 11.0, 8.5
_VERDICT_MM, _INDENT_MM = 26.0, 7.0
_SIGN_MM = 36.0
"""Height of the place for the signature."""
_HASH_LETTERS = 16


@dataclass(frozen=True, slots=True)
class Row:
    """One item as it is printed."""

    title: str
    verdict: Literal["pass", "FAIL", "not done"]
    lines: tuple[str, ...]
    """What was found, and when."""


def rows(acceptance: Acceptance, titles: dict[str, str]) -> list[Row]:
    """Every item, in its order; `titles` names them in words."""
    found = []
    for item in acceptance.items:
        last = acceptance.last(item)
        if last is None:
            found.append(Row(titles[item], "not done", ()))
            continue
        count = acceptance.count(item)
        done = f"done {_minute(last.at)}" + (f", try {count}" if count > 1 else "")
        lines = [*last.found, *([f"do: {last.cure}"] if last.cure else [])]
        lines.append(done + (f"; evidence: {last.evidence}" if last.evidence else ""))
        found.append(Row(titles[item], "pass" if last.verdict == "pass" else "FAIL", tuple(lines)))
    return found


def answer(listed: Sequence[Row]) -> str:
    """The whole in a line."""
    failed, missing = (sum(row.verdict == verdict for row in listed) for verdict in ("FAIL", "not done"))
    if not failed and not missing:
        return f"PASSED: all {len(listed)} items"
    parts = [f"{failed} failed"] * (failed > 0) + [f"{missing} not done"] * (missing > 0)
    return f"NOT PASSED: {', '.join(parts)} of {len(listed)} items"


def acceptance_report(acceptance: Acceptance, titles: dict[str, str], paper: Paper, *, printed_at: str) -> bytes:
    """The PDF file."""
    return _Report(acceptance, paper, printed_at).made(rows(acceptance, titles))


def _minute(at: str) -> str:
    return at[:16].replace("T", " ")


class _Report:
    """Pages being filled from the top."""

    def __init__(self, acceptance: Acceptance, paper: Paper, printed_at: str) -> None:
        self._it, self._paper, self._printed_at = acceptance, paper, printed_at
        self._sheet = Sheet(paper, title=f"Acceptance of {acceptance.rig}")
        self._left_mm = HOLE_MARGIN_MM
        self._across_mm = paper.width_mm - HOLE_MARGIN_MM - MARGIN_MM
        self._y_mm = paper.height_mm - MARGIN_MM - _TITLE_PT * MM_PER_POINT
        self._page = 1

    def made(self, listed: Sequence[Row]) -> bytes:
        self._head(answer(listed))
        for number, row in enumerate(listed, 1):
            self._row(number, row)
        self._room(_SIGN_MM)
        self._sign()
        self._turn()
        return self._sheet.pdf()

    def _head(self, answered: str) -> None:
        it = self._it
        self._line(f"Acceptance: {it.rig}", _TITLE_PT, bold=True)
        if it.simulated:
            box = (self._left_mm, self._y_mm - 2.5, self._across_mm, 7.0)
            self._sheet.banner(
                "SIMULATED: no real water, no real gates. Of no use but practice.", box_mm=box, size_pt=10
            )
            self._y_mm -= 8.5
        calibration = f", its calibration {it.calibration_sha256[:_HASH_LETTERS]}" if it.calibration_sha256 else ""
        facts = (
            f"begun {_minute(it.begun_at)}, printed {_minute(self._printed_at)}; {it.software}",
            f"rig file SHA-256 {it.rig_file_sha256[:_HASH_LETTERS]}{calibration} (first {_HASH_LETTERS} letters); "
            "after any change of these files or of the software it counts no longer",
        )
        for fact in facts:
            self._block(fact, _TEXT_PT, indent_mm=0)
        self._y_mm -= 2.0
        self._block(answered, 13.0, indent_mm=0, bold=True)
        self._y_mm -= 1.0

    def _row(self, number: int, row: Row) -> None:
        self._room((1.6 * _ITEM_PT + 1.3 * _TEXT_PT * (len(row.lines) + 1)) * MM_PER_POINT + 3)
        sheet, right = self._sheet, self._left_mm + self._across_mm
        sheet.line((self._left_mm, self._y_mm + 4.2), (right, self._y_mm + 4.2))
        sheet.text(f"{number}. {row.title}", at_mm=(self._left_mm, self._y_mm), size_pt=_ITEM_PT, bold=True)
        x_mm = right - _VERDICT_MM
        if row.verdict == "FAIL":
            sheet.banner("FAIL", box_mm=(x_mm, self._y_mm - 1.4, _VERDICT_MM, 5.2), size_pt=_ITEM_PT)
        else:
            sheet.box((x_mm, self._y_mm - 1.4, _VERDICT_MM, 5.2))
            sheet.text(row.verdict, at_mm=(x_mm + 2.5, self._y_mm), size_pt=_ITEM_PT, bold=row.verdict == "pass")
        self._y_mm -= 1.35 * _ITEM_PT * MM_PER_POINT
        for line in row.lines:
            self._block(line, _TEXT_PT, indent_mm=_INDENT_MM)
        self._y_mm -= 3.0

    def _sign(self) -> None:
        sheet, left, right = self._sheet, self._left_mm, self._left_mm + self._across_mm
        sheet.line((left, self._y_mm + 4.2), (right, self._y_mm + 4.2))
        sheet.text("To be filled in by pen", at_mm=(left, self._y_mm), size_pt=_ITEM_PT, bold=True)
        y_mm = self._y_mm - 9
        for x_mm, words in ((left, "accepted for use"), (left + 48, "not accepted, because")):
            sheet.box((x_mm, y_mm - 0.5, 4, 4))
            sheet.text(words, at_mm=(x_mm + 6, y_mm), size_pt=10)
        sheet.line((left + 98, y_mm - 1), (right, y_mm - 1))
        sheet.box((left, y_mm - 8.5, 4, 4))
        looked = "rig looked at: cables, posts, camera's tether, no mains near the water"
        sheet.text(looked, at_mm=(left + 6, y_mm - 8), size_pt=10)
        third = self._across_mm / 3
        for number, words in enumerate(("signature or initials", "date", "to be done again by")):
            x_mm = left + number * third
            sheet.line((x_mm, y_mm - 21), (x_mm + third - 6, y_mm - 21))
            sheet.text(words, at_mm=(x_mm, y_mm - 25), size_pt=8.5)
        self._y_mm -= _SIGN_MM

    def _line(self, words: str, size_pt: float, *, bold: bool = False) -> None:
        self._sheet.text(words, at_mm=(self._left_mm, self._y_mm), size_pt=size_pt, bold=bold)
        self._y_mm -= 1.35 * size_pt * MM_PER_POINT

    def _block(self, words: str, size_pt: float, *, indent_mm: float, bold: bool = False) -> None:
        width = self._across_mm - indent_mm
        self._room(2.6 * size_pt * MM_PER_POINT)
        at = (self._left_mm + indent_mm, self._y_mm)
        self._y_mm = self._sheet.block(words, at_mm=at, width_mm=width, size_pt=size_pt, bold=bold)

    def _room(self, height_mm: float) -> None:
        """Turn the page if there is less."""
        if self._y_mm - height_mm < MARGIN_MM + 6:
            self._turn()

    def _turn(self) -> None:
        self._sheet.turn_page(f"{self._it.rig}, {self._it.begun_at[:10]}, {self._paper.name}, page {self._page}")
        self._page += 1
        self._y_mm = self._paper.height_mm - MARGIN_MM - _ITEM_PT * MM_PER_POINT
