"""How old must a reader be? By the Flesch-Kincaid grade of everything that the pages say to pupils of grades 2 to 5.

Formula: J. P. Kincaid, R. P. Fishburne, R. L. Rogers, B. S. Chissom: Derivation of new readability formulas for Navy
enlisted personnel (1975): grade = 0.39 · words per sentence + 11.8 · syllables per word - 15.59 (from memory).
Syllables are counted by groups of vowels, which is common practice.
"""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from babel.messages.extract import extract

from logger.study.class_folder import Class
from logger.study.class_story import counts_told
from logger.study.conclusion import in_short
from logger.study.experiment_view import experiment_views
from logger.study.pack.page_words import class_words, track_words
from logger.study.prints.from_data import questions_of

OLDEST_ONLY = {"fit_gap", "slope_tool", "slope_between", "line_tool", "line_not_clear", "line_few", "line_gap"}
FILLED = {
    "t": "2.1 seconds",
    "zero": "the bow reached the start line",
    "far": "19 centimetres",
    "fast": "18 centimetres",
}


def syllables(word: str) -> int:
    """Groups of vowels; a silent e at the end is none.

    >>> [syllables(word) for word in ("boat", "centimetre", "fastest", "line", "away")]
    [1, 4, 2, 1, 2]
    """
    groups = re.findall(r"[aeiouy]+", word.lower())
    silent = word.lower().endswith("e") and not word.lower().endswith(("le", "re")) and len(groups) > 1
    return max(1, len(groups) - silent)


def grade(text: str) -> float:
    sentences = [s for s in re.split(r"[.!?:;]+", text) if re.search("[a-z]", s)]
    words = re.findall(r"[A-Za-z']+", text)
    return 0.39 * len(words) / len(sentences) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def sentences(said: dict[str, Any]) -> Iterator[str]:
    for name, one in said.items():
        if isinstance(one, dict):
            yield from sentences(one)
        elif name not in OLDEST_ONLY:
            yield re.sub(r"\{(\w+)\}", lambda m: FILLED.get(m[1], "two"), one)


def test_the_formula_by_hand() -> None:
    """ "The boat is fast. It goes far." 7 words, 2 sentences, 7 or 8 syllables: 0.39·3.5 + 11.8·(8/7) - 15.59."""
    assert syllables("goes") == 1
    assert grade("The boat is fast. It goes far.") == pytest.approx(0.39 * 3.5 + 11.8 * 1 - 15.59)
    assert grade("Uncertainty propagates multiplicatively.") > 20


def test_pupils_of_grade_3_can_read_what_the_pages_say_to_them() -> None:
    told = [one for said in (track_words(), class_words()) for one in sentences(said) if len(one.split()) > 4]
    assert len(told) > 25
    grades = {one: grade(one) for one in told}
    print(f"\ngrade: middle {statistics.median(grades.values()):.1f}, most {max(grades.values()):.1f}")
    assert statistics.median(grades.values()) <= 3.5
    # a unit spoken whole has four syllables, of which the formula makes much in a short sentence
    assert [(round(g, 1), one) for one, g in grades.items() if g > (10 if len(one.split()) < 6 else 8)] == []


def test_questions_and_counts_can_be_read_in_grade_5(whole: Class) -> None:
    told = [*questions_of(whole), counts_told(whole, "straight")]
    grades = [grade(one) for one in told]
    print(f"\ngrade: middle {statistics.median(grades):.1f}, most {max(grades):.1f}")
    assert statistics.median(grades) <= 5.5


NOT_FOR_PUPILS = ("Analysis of variance", "Line of best fit", "Plan an experiment (teachers)", "With comma:")


def test_pages_of_experiments_and_materials_can_be_read_in_grade_4(whole: Class) -> None:
    view = experiment_views(whole)["heavier"]
    told = [in_short(view.plan, view.found)]
    folder = Path(str(files("logger.study.pack"))) / "templates"
    for name in ("experiments.html", "experiment.html", "missing.html", "scatter.html", "files.html", "track.html"):
        with (folder / name).open("rb") as file:
            found = extract("jinja2", file, keywords={"_": None})
            told += [str(message) for _line, message, _comments, _context in found]
    told = [re.sub(r"\{\w+\}", "two", one) for one in told if not one.startswith(NOT_FOR_PUPILS)]
    told = [one for one in told if len(one.split()) > 4]
    grades = {one: grade(one) for one in told}
    print(f"\ngrade: middle {statistics.median(grades.values()):.1f}, most {max(grades.values()):.1f}")
    assert len(told) > 30
    assert statistics.median(grades.values()) <= 4.5
    assert [(round(g, 1), one) for one, g in grades.items() if g > 10] == []
