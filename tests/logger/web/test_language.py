"""The catalogues: whole, and nothing on a page that is in none of them."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import polib
import pytest
from babel.messages.extract import extract_from_dir

from logger.web import language
from tests.logger.web.conftest import Desk

WEB = Path(str(files("logger.web")))
OTHERS = sorted(set(language.LANGUAGES) - {language.SOURCE})
FILLED = re.compile(r"%(?:\(\w+\))?[-+ #0]*[\d.]*[a-zA-Z%]")


def in_code() -> set[str]:
    """Every sentence that is marked for the catalogues, as Babel finds it."""
    found = extract_from_dir(
        str(WEB), [("templates/**.html", "jinja2"), ("**.py", "python")], {}, keywords={"_": None, "N_": None,
        "ngettext": (1, 2)}
    )  # fmt: skip
    return {message if isinstance(message, str) else message[0] for _, _, message, _, _ in found}


def catalogue_of(code: str) -> polib.POFile:
    return polib.pofile(str(WEB / "locale" / code / "LC_MESSAGES" / "boatrun.po"))


@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_is_in_every_catalogue_and_sure(code: str) -> None:
    there = catalogue_of(code)
    sure = {one.msgid for one in there if one.translated() and not one.obsolete}
    assert sorted(in_code() - sure) == [], "translate these (see DEVELOPERS.md, a sentence on a page)"
    assert sorted({one.msgid for one in there} - in_code()) == [], "no page says these any more: take them out"
    assert [one.msgid for one in there if one.fuzzy or one.obsolete] == []


@pytest.mark.parametrize("code", OTHERS)
def test_what_is_filled_in_is_the_same_in_every_language(code: str) -> None:
    for one in catalogue_of(code):
        if "python-format" in one.flags:
            for said in (one.msgstr, *one.msgstr_plural.values()):
                if said:
                    wanted = one.msgid_plural or one.msgid
                    assert sorted(FILLED.findall(said)) == sorted(FILLED.findall(wanted)), one.msgid
        assert one.msgid.startswith(" ") == one.msgstr.startswith(" "), one.msgid


class Bare(HTMLParser):
    """Words of a template that stand outside of `_( )`."""

    SAME = frozenset({"boatrun", "A4", "Letter", "gates/", "lens/", "light/", "plane/", "mm", "MB"})
    """The same in every language: names, sizes of paper, units, folders."""
    SAID = ("alt", "title", "placeholder", "aria-label", "aria-description")

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._english = 0

    def handle_data(self, data: str) -> None:
        self.found += [word for word in re.findall(r"[^\W\d_][\w/]+", data) if word not in self.SAME]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in self.SAID and value and not re.fullmatch(r"(port harbour)?[\d\s,.@×x]*", value):
                self.handle_data(value)


@pytest.mark.parametrize("template", sorted((WEB / "templates").glob("*.html")), ids=lambda path: path.name)
def test_nothing_is_said_on_a_page_that_no_catalogue_knows(template: Path) -> None:
    text = template.read_text(encoding="utf-8")
    seen = Bare()
    seen.feed(re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", text, flags=re.DOTALL))
    assert seen.found == []


def test_a_sentence_outside_of_the_catalogue_would_be_found() -> None:
    seen = Bare()
    seen.feed('<p>Good morning</p><img alt="A boat">')
    assert seen.found == ["Good", "morning", "boat"]


@pytest.mark.parametrize(
    ("cookie", "accepts", "code"),
    [
        (None, "", "en"),
        (None, "es", "es"),
        (None, "es-MX,es;q=0.9,en;q=0.8", "es"),
        (None, "en-US,en;q=0.9,es;q=0.8", "en"),
        (None, "de, fr;q=0.7", "en"),
        (None, "de, es;q=0.1, en;q=0", "es"),
        (None, "es;q=0", "en"),
        (None, "es;q=nonsense, ;;;,", "en"),
        ("es", "en", "es"),
        ("en", "es", "en"),
        ("../../etc", "es", "es"),
    ],
)
def test_a_browser_is_answered_in_the_language_that_it_likes_best(cookie: str | None, accepts: str, code: str) -> None:
    """As RFC 9110, 12.5.4, has it: quality from 0, which refuses, to 1, which is meant where none is given."""
    assert language.wanted(cookie, accepts) == code


def test_pages_are_in_the_language_of_their_visitor(desk: Desk) -> None:
    spanish = desk.client.get("/cards", headers={"Accept-Language": "es-US,es;q=0.9"}).text
    assert '<html lang="es">' in spanish
    assert "Fichas de los barcos" in spanish
    assert "Boats&#39; cards" not in spanish
    english = desk.get("/cards")
    assert '<html lang="en">' in english
    assert "Boats&#39; cards" in english


def test_what_stays_english_on_a_page_of_another_language_says_so(desk: Desk) -> None:
    text = desk.client.get("/plane", headers={"Accept-Language": "es"}).text
    assert re.search(r'<span lang="en">[^<]+</span>', text)
    desk.rig_file.write_text('format = "boatrun-rig/1"\nname = 3\n')
    told = desk.client.get("/cards", headers={"Accept-Language": "es"}).text
    assert re.search(r'<li lang="en">[^<]*name: found 3', told)


def test_marked_sentences_stay_as_they_are_until_they_are_shown() -> None:
    assert language.N_("Done") == "Done"
    assert language.catalogue("es").gettext("Done") == "Hecho"
    assert language.catalogue("en").gettext("Done") == "Done"
    assert language.catalogue("xx").gettext("Done") == "Done"
