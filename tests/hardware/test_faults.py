"""The fault table has a row for every sentence that the check can say, and none that it cannot."""

from __future__ import annotations

import re
from pathlib import Path

from tests.hardware.words_of_check import HOLE, Said, sentences

PROJECT = Path(__file__).resolve().parents[2]
TABLE = PROJECT / "hardware" / "faults.md"
SAID = sentences(PROJECT)
BORROWED = {
    "beams", "board_session", "camera_flow", "check", "gates_by_gpiod", "gpio_gates", "hearing", "pi_camera",
    "serial_gates", "serial_scale", "v4l2_camera", "v4l2_check", "visit",
}  # fmt: skip
"""Modules that pass on the words of others: of settings' mistakes, of the kernel, of what another function found."""


def rows() -> list[list[str]]:
    """Cells of every row that is not a head."""
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]
    return [row for row in cells if row[0] not in ("it says", "---")]


def phrases() -> list[str]:
    return [phrase.strip() for row in rows() for phrase in row[0].split(" · ")]


def has_words(said: Said) -> bool:
    return re.search(r"[A-Za-z]{2}", said.words.replace(HOLE, "")) is not None


def test_the_check_has_a_lot_to_say() -> None:
    """So that a reader of the code that finds nothing any more does not pass for a table that has everything."""
    assert len({said.words for said in SAID if has_words(said)}) > 110
    assert {"the beam is broken now", "no picture came", "too little voltage now"} <= {said.words for said in SAID}


def test_every_sentence_has_its_row() -> None:
    missing = [f"{s.where}: {s.words}" for s in SAID if has_words(s) and not any(p in s.words for p in phrases())]
    assert missing == []


def test_every_row_is_said_by_something() -> None:
    stale = [phrase for phrase in phrases() if not any(phrase in said.words for said in SAID)]
    assert stale == []


def test_words_that_only_pass_through_are_known_as_such() -> None:
    """An exception that is no longer needed fails as well."""
    assert {said.where.partition(":")[0] for said in SAID if not has_words(said)} <= BORROWED | {"edge_watch"}


def test_every_row_says_why_and_what_to_do() -> None:
    assert len(rows()) > 40
    assert [phrase for phrase in phrases() if len(phrase) < 5] == [], "too short to mean one sentence"
    for row in rows():
        assert len(row) == 3, row
        assert all(len(cell) > 4 for cell in row), row


def test_a_sentence_that_nobody_wrote_a_row_for_would_be_noticed() -> None:
    assert not any(phrase in "the beam is bent" for phrase in phrases())
