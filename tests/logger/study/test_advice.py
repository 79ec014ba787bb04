from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from calibration.quantity import Quantity, Source
from logger.study.advice import advice, cure


def test_the_largest_cause_is_answered_with_what_it_is_worth() -> None:
    quantity = Quantity(2.0, "s", {Source("camera delay"): 3.0, Source("start line place"): -4.0})
    told = advice(quantity)
    assert "measure the place of that line again" in told
    # without the 4 of 3-4-5 there would be 3 of 5 left
    assert "40\u00a0% smaller" in told


def test_one_cause_in_two_runs_is_one_cause() -> None:
    shared = Quantity(1.0, "s", {Source("camera delay", ensemble=f"run {n}"): 1.0 for n in range(4)})
    assert "boatrun calibrate light" in advice(Quantity.linear(1.0, "s", [(1, shared)]))


def test_where_nothing_stands_out_or_can_be_done_nothing_is_said() -> None:
    even = Quantity(1.0, "s", {Source(f"{name} line place"): 1.0 for name in "abcde"})
    assert advice(even) == ""
    assert advice(Quantity(1.0, "m/s", {Source("gusts too short to be seen"): 1.0})) == ""
    assert advice(Quantity(1.0, "s", {})) == ""


def sources_in(folder: Path) -> set[str]:
    """Every name of a source that is written down in the code."""
    found = set()
    for path in folder.rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and call.args:
                named = getattr(call.func, "attr", getattr(call.func, "id", ""))
                text = ast.unparse(call.args[0])
                if named in {"Source", "of_run", "of_boat"} and text[:1] in "'\"f" and text[1:2] in "'\"" + text[1:2]:
                    found.add(re.sub(r"\{[^}]*\}", "X", text.removeprefix("f").strip("'\"")))
                said = [
                    ast.unparse(k.value) for k in call.keywords if k.arg == "source" and named in {"of", "rectangular"}
                ]
                found |= {re.sub(r"\{[^}]*\}", "X", text.removeprefix("f").strip("'\"")) for text in said}
    return {name for name in found if " " in name}


def test_every_cause_that_the_program_names_has_an_answer(project: Path) -> None:
    named = sources_in(project / "logger" / "results") | sources_in(project / "logger" / "study")
    assert len(named) > 15
    assert sorted(name for name in named if not cure(name)) == []


@pytest.mark.parametrize("name", ["freeboard", "hull outline, along", "flare of the sides"])
def test_so_have_those_of_the_tracker(name: str) -> None:
    assert "card" in cure(name)
