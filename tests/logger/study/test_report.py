from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from logger.study.leaf import Run
from logger.study.report import report

Make = Callable[..., Run]
VOID = {"meta", "link", "input", "br", "img", "hr"}


class Tags(HTMLParser):
    """Every element with its attributes, and whether all were closed in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, f"</{tag}> closes something else, near line {self.getpos()[0]}"


@pytest.fixture
def runs(make_drift_run: Make, make_straight_run: Make) -> list[Run]:
    return [
        make_drift_run(flags=("The camera lost the boat for 0.4 s.",)),
        make_straight_run("Coot", 4.2),
        make_straight_run("Pelican", 4.4),
        make_straight_run("Grebe", 9.9, status="void"),
    ]


@pytest.fixture
def page(runs: list[Run]) -> str:
    return report(runs, title="An invented regatta", lead="Three boats that never were.")


def test_every_result_on_the_page_is_explained_once(page: str) -> None:
    explained = page.partition("What the results mean")[2]
    for name in ("time", "speed at the line", "drift"):
        assert explained.count(f"<dt>{name}</dt>") == 1
    assert "Highest mean speed" not in explained, "none of these runs has a top speed"


def test_the_page_is_well_formed_and_says_its_language_and_encoding(page: str) -> None:
    tags = Tags(page)
    assert tags.open == []
    assert dict(tags.found)["html"]["lang"] == "en"
    assert any(attrs.get("charset") == "utf-8" for tag, attrs in tags.found if tag == "meta")
    assert page.lstrip().lower().startswith("<!doctype html>")


def test_nothing_is_fetched_from_anywhere(page: str) -> None:
    for _, attrs in Tags(page).found:
        for name in ("src", "href", "srcset", "data", "action"):
            target = attrs.get(name)
            assert target is None or target.startswith("#") or target == "data:,", target
    assert "@import" not in page
    assert re.findall(r"url\((?!#)", page) == []
    assert set(re.findall(r"https?://[^\s\"'<]+", page)) == {"http://www.w3.org/2000/svg"}


def test_every_name_in_the_page_is_used_once_and_every_reference_finds_one(page: str) -> None:
    tags = Tags(page).found
    names = [attrs["id"] for _, attrs in tags if "id" in attrs]
    assert len(names) == len(set(names))
    wanted = {attrs["href"][1:] for tag, attrs in tags if tag == "a" and attrs.get("href")}
    wanted |= {word for _, attrs in tags for word in (attrs.get("aria-labelledby") or "").split()}
    wanted |= {attrs["for"] for _, attrs in tags if attrs.get("for")}
    wanted |= set(re.findall(r"url\(#([^)]+)\)", page))
    assert wanted <= set(names)


def test_every_table_has_a_caption_and_scopes_and_every_drawing_is_announced_or_hidden(page: str) -> None:
    tags = Tags(page).found
    assert page.count("<table") == page.count("<caption>") > 0
    assert all("scope" in attrs for tag, attrs in tags if tag == "th")
    for tag, attrs in tags:
        if tag == "svg":
            assert attrs.get("role") == "img" or attrs.get("aria-hidden") == "true"


def test_headings_leave_no_step_out(page: str) -> None:
    levels = [int(tag[1]) for tag, _ in Tags(page).found if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_doubts_are_shown_as_they_were_said(page: str) -> None:
    assert "The camera lost the boat for 0.4 s." in page
    assert page.count("Look here") == 1


def test_names_cannot_break_the_page(make_straight_run: Make) -> None:
    evil = '<img src=x onerror=alert(1)>"'
    page = report([make_straight_run(evil, 4.0), make_straight_run("B", 5.0)], title=evil, lead="x")
    assert all(tag != "img" for tag, _ in Tags(page).found)


def test_practice_is_marked_and_the_real_thing_is_not(runs: list[Run]) -> None:
    real = [replace(run, trial=replace(run.trial, simulated=False)) for run in runs]
    assert "Practice" in report(runs, title="t", lead="l")
    assert "Practice" not in report(real, title="t", lead="l")


def test_a_single_run_makes_a_page_too(make_drift_run: Make) -> None:
    page = report([make_drift_run()], title="One run", lead="Alone.")
    assert "The class" not in page
    assert Tags(page).open == []


# WCAG 2.2, 1.4.3 and "relative luminance": text 4.5 : 1.
def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(a: str, b: str) -> float:
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_computed_as_the_guideline_does() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # the guideline's own technique G18 names #767676 as the lightest grey that passes on white
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_every_text_colour_can_be_read_on_every_ground(page: str) -> None:
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6}|#[0-9a-f]{3})\b", page))
    grounds = [named["shallow"], "#ffffff", named["water"]]
    for name in ("ink", "soft", "deep", "look"):
        for ground in grounds:
            assert contrast(named[name], ground) >= 4.5, (name, ground)
    fills = set(re.findall(r"svg (?:text|\.tick)[^{]*\{[^}]*fill: (#[0-9a-f]{6})", page))
    assert fills
    assert all(contrast(fill, ground) >= 4.5 for fill in fills for ground in grounds)
