from __future__ import annotations

from pathlib import Path

from logger.study.class_folder import Class
from logger.study.paper import PAPERS
from logger.study.prints.every import class_sheets
from logger.study.prints.for_pupils import rules_of
from tests.logger.study.printed import needs_poppler, told


def test_the_rules_are_those_that_the_runs_were_made_under(whole: Class) -> None:
    rules = rules_of(whole)
    assert rules[0] == "Power: fan, setting 2, 400 mm behind the start line."
    assert "A run takes at most 60 s. Who is not there then did not finish." in rules
    assert any("slower than 10 mm/s for 1 s" in rule for rule in rules)
    assert len(rules) == len(set(rules))


def test_rules_can_be_changed_on_a_screen(whole: Class) -> None:
    """Fields as ISO 32000-1, 12.7.4.3 has them, one for each rule and two to spare, the teacher's own among them."""
    made = class_sheets(whole, ["rules"], PAPERS["a4"], rules=["No sails larger than a hand."])
    assert made.count(b"/FT /Tx") == len(rules_of(whole)) + 3
    assert b"No sails larger than a hand." in made


@needs_poppler
def test_claim_evidence_and_reasoning_have_room(whole: Class, tmp_path: Path) -> None:
    text = told("pdftotext", class_sheets(whole, ["conclusion", "plan", "report"], PAPERS["a4"]), tmp_path, "-layout")
    for word in ("Claim", "Evidence", "Reasoning", "How sure?", "We change one thing", "We keep the same", "My name:"):
        assert word in text
