from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.recording.acceptance_file import Acceptance, Try
from logger.study.acceptance_sheet import acceptance_report, answer, rows
from logger.study.paper import PAPERS
from tests.logger.study.printed import ink_mm, needs_poppler, pages, told

TITLES = {"check": "everything answers", "straws:A": "straws break the beam of gate A", "plug": "a pulled plug"}
IT = Acceptance(
    "Pool, room 12", "0123456789abcdef" * 4, "fedcba9876543210" * 4, "boatrun 0.1.0", "2026-11-26T18:00:00+00:00",
    False, tuple(TITLES),
)  # fmt: skip
AT = "2026-11-26T18:05:00+00:00"
GOOD = Try("check", "pass", ("19 things looked at: 0 wrong, 0 in doubt",), "", AT)
BAD = Try("straws:A", "fail", ("8 of 10 straws of 6 mm seen", "not seen: pass 3, 7"), "hoods", AT)


def text(it: Acceptance, folder: Path, paper: str = "a4") -> str:
    pdf = acceptance_report(it, TITLES, PAPERS[paper], printed_at=AT)
    return " ".join(told("pdftotext", pdf, folder, "-layout").split())


def test_the_answer_counts_what_failed_and_what_is_missing() -> None:
    assert answer(rows(IT, TITLES)) == "NOT PASSED: 3 not done of 3 items"
    assert answer(rows(IT.with_try(GOOD).with_try(BAD), TITLES)) == "NOT PASSED: 1 failed, 1 not done of 3 items"
    whole = IT.with_try(GOOD).with_try(replace(BAD, verdict="pass")).with_try(replace(GOOD, item="plug"))
    assert answer(rows(whole, TITLES)) == "PASSED: all 3 items"


def test_a_row_says_what_to_do_and_how_often_it_was_tried() -> None:
    row = rows(IT.with_try(BAD).with_try(BAD), TITLES)[1]
    assert row.verdict == "FAIL"
    assert row.lines[-2:] == ("do: hoods", "done 2026-11-26 18:05, try 2")


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_it_holds_what_must_be_known_and_a_place_to_sign_and_nobodys_name(tmp_path: Path, paper: str) -> None:
    said = text(IT.with_try(GOOD).with_try(BAD), tmp_path, paper)
    for words in (
        "Pool, room 12",
        "boatrun 0.1.0",
        "0123456789abcdef",
        "fedcba9876543210",
        "signature or initials",
        "date",
    ):
        assert words in said
    assert "8 of 10 straws of 6 mm seen" in said
    assert "not done" in said
    assert "SIMULATED" not in said
    assert "name" not in said.replace("initials", "")


@needs_poppler
def test_what_is_simulated_says_so_in_black_and_white(tmp_path: Path) -> None:
    assert "SIMULATED: no real water" in text(replace(IT, simulated=True), tmp_path)


@needs_poppler
def test_everything_stays_on_the_paper_and_long_reports_take_more_pages(tmp_path: Path) -> None:
    long = replace(
        GOOD, found=tuple(f"sentence {n} of many, each of which says something of a part" for n in range(90))
    )
    made = pages(acceptance_report(IT.with_try(long), TITLES, PAPERS["letter"], printed_at=AT), tmp_path)
    assert len(made) >= 2
    for page in made:
        left, lower, right, upper = ink_mm(page)
        assert left >= 19.5, "room for filing holes"
        assert min(lower, right, upper) >= 8.0


def test_the_same_acceptance_is_the_same_file() -> None:
    first, second = (acceptance_report(IT, TITLES, PAPERS["a4"], printed_at=AT) for _ in range(2))
    assert first == second
