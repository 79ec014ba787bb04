"""The table of published values is whole: every entry is called from where it says, or says why not."""

from __future__ import annotations

import importlib.util
import os
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

HERE = Path(__file__).parent


def module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"reference_{path.stem}", path)
    assert spec is not None
    assert spec.loader is not None
    loaded = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(loaded)
    return loaded


def calls() -> dict[str, str]:
    """Id -> test file, for every call that is made."""
    return {
        name: path.name
        for path in sorted(HERE.glob("test_*.py"))
        if path != Path(__file__)
        for name in getattr(module(path), "CALLS", {})
    }


def test_every_value_is_called_from_the_file_it_names(published: dict[str, Any]) -> None:
    named = {row.id: row.check for row in published.values() if row.check}
    assert calls() == named


def test_every_value_is_either_used_or_says_why_not(published: dict[str, Any]) -> None:
    unclear = [row.id for row in published.values() if bool(row.check) == bool(row.unused)]
    assert unclear == []
    assert {row.standing for row in published.values()} <= {"seen", "from memory", "derived"}


WIDER = {
    "gum.h1.nu_eff": "16.7 is printed, 16.75 is exact",
    "gum.h1.uc2": "the example adds rounded parts",
    "s1.9.3.": "Monte Carlo; the source states a numerical tolerance of 0.005",
    "water.": "older equations of state and viscosity",
    "gum.h3.rss": "a sum of squares with cancelled digits",
    "welch.scipy": "more digits are printed than a double holds",
}


def test_tolerances_are_half_a_unit_of_the_last_digit_unless_a_reason_is_given(published: dict[str, Any]) -> None:
    loose = []
    for name, row in published.items():
        mantissa, _, exponent = row.digits.lower().partition("e")
        half_unit = 0.5 * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))
        if row.tolerance > 1.01 * half_unit and not name.startswith(tuple(WIDER)):
            loose.append(name)
    assert loose == []


def test_another_copy_of_the_values_says_the_same(published: dict[str, Any]) -> None:
    named = os.environ.get("BOATRUN_REFERENCE", "")
    if not named:
        pytest.skip("BOATRUN_REFERENCE is not set: it names an independent table of the same values (DEVELOPERS.md)")
    other = {row["id"]: row for row in tomllib.loads(Path(named).read_text(encoding="utf-8"))["check"]}
    assert sorted(other) == sorted(published)
    for name, row in published.items():
        assert row.value == float(other[name]["expected"]), name
        assert row.tolerance == pytest.approx(other[name]["tol"], rel=0.01), name
        assert row.unit == other[name]["unit"], name
