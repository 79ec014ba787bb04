"""What every page is given: the rig, its drafts, the work under way, and how a page is drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse

from logger import __version__
from logger.checkup.machine import clock_is_led
from logger.checkup.steps import Step, steps
from logger.config import Rig
from logger.errors import InputError, LoggerError
from logger.lesson.desk import Desk
from logger.recording.rig_toml import read_rig
from logger.web import language, lesson_words, words
from logger.web.drafts import Drafts
from logger.web.jobs import Job, Jobs
from logger.web.language import _
from logger.web.lessons import Lessons
from logger.web.news import News
from logger.web.pin import Attempts, Pin
from logger.web.sessions import Sessions, Visitor
from logger.web.sticks import OWN, ROOTS, sticks

HOLDING = ("called", "ready", "armed", "released", "running", "drifting", "closing", "deciding")
"""States of a lesson in which its crew holds the devices of the rig."""


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """One rig and its pages."""

    rig_file: Path
    sessions: Sessions
    attempts: Attempts
    pin: Pin | None
    drafts: Drafts
    jobs: Jobs
    now: Callable[[], datetime]
    """Wall time, for the names of folders; never for measuring."""
    templates: Environment
    lessons: Lessons
    news: News
    stick_roots: Sequence[Path] = ROOTS
    """Below these USB sticks are mounted."""

    @property
    def desk(self) -> Desk:
        """Where the open lesson is led from."""
        return self.lessons.desk

    @property
    def folder(self) -> Path:
        """Where the rig file lies."""
        return self.rig_file.absolute().parent

    @property
    def today(self) -> date:
        """By the wall."""
        return self.now().date()

    def sticks(self) -> list[Path]:
        """USB sticks that are plugged in."""
        return sticks(self.stick_roots, self.folder / OWN)

    def rig(self) -> Rig:
        """The rig as its file says now. InputError or ConfigError: what is wrong with it."""
        return read_rig(self.rig_file)

    def is_simulated(self, rig: Rig | None) -> bool:
        """Whether what is shown was not measured on water."""
        lesson = self.desk.standing
        if rig is None:
            return lesson is not None and lesson.plan.simulated
        invented = any(choice.is_simulated for choice in rig.witnesses.values())
        return rig.simulated or invented or (lesson is not None and lesson.plan.simulated)

    def steps(self, rig: Rig) -> list[Step]:
        """How far it is calibrated."""
        return steps(self.rig_file, rig, today=self.today)

    def draw(self, request: Request, template: str, /, *, status: int = 200, **values: Any) -> HTMLResponse:
        """A page; `wrong` among the values is what went wrong, told at its top."""
        visitor = visitor_of(request)
        rig, rig_wrong = self._rig_or_why()
        shown = {
            "visitor": visitor, "token": visitor.token, "rig": rig, "here": request.url.path,
            "address": address_of(request), "wrong": "", "lesson": self.desk.standing,
            "simulated": self.is_simulated(rig), "tells_clock": clock_is_led() is False,
            "busy": self.jobs.under_way, "asks_pin": self.sessions.asks_pin, "version": __version__,
            "said": words.said(request), "language": language.language(), "languages": language.LANGUAGES,
            **values,
        }  # fmt: skip
        shown["wrongs"] = [words.Told.of(one) for one in split(str(shown["wrong"] or rig_wrong))]
        return HTMLResponse(self.templates.get_template(template).render(shown), status)

    def part(self, template: str, /, **values: Any) -> str:
        """A part of a page, as it is sent anew whenever it changes."""
        return self.templates.get_template(template).render(values)

    def _rig_or_why(self) -> tuple[Rig | None, str]:
        try:
            return self.rig(), ""
        except LoggerError as error:
            return None, str(error)

    def begin(self, title: str, work: Callable[[Job], str], *, back: str, has_enough: bool = False) -> RedirectResponse:
        """Begin work that takes long, and lead to the page that shows how far it is. InputError: not now."""
        if self.desk.board().state in HOLDING:
            raise InputError(_("a lesson is open and holds the rig; pause it or close it first"))
        job = self.jobs.begin(title, work, back=back, has_enough=has_enough)
        return go(f"/progress/{job.number}")


def visitor_of(request: Request) -> Visitor:
    """Who has sent it."""
    visitor: Visitor = request.state.visitor
    return visitor


def address_of(request: Request) -> str:
    """Where a page is, with what was asked of it; after a form was sent, the page that it belongs to."""
    query = f"?{request.url.query}" if request.url.query else ""
    return f"{request.url.path}{query}" if request.method == "GET" else "/"


def go(path: str) -> RedirectResponse:
    """Lead to another page after something was sent, so that to load it anew sends nothing again."""
    return RedirectResponse(path, 303)


def split(sentence: str) -> list[str]:
    """Several mistakes told in one line, one by one."""
    return [part for part in " ".join(sentence.split()).split(" | ") if part]


def templates() -> Environment:
    """The templates; every sentence of theirs goes through `_`, which looks it up in the page's language."""
    made = Environment(
        loader=PackageLoader("logger.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, extensions=["jinja2.ext.i18n"],
    )  # fmt: skip
    made.install_gettext_callables(language._, language.ngettext, newstyle=False)  # type: ignore[attr-defined]
    made.globals.update(
        step_title=words.step_title, step_lead=words.step_lead, standing=words.standing, say=lesson_words
    )
    return made


def shown_number(value: float, digits: int = 1) -> str:
    """A number for a form's field: without needless zeros."""
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}"


Values = Mapping[str, str]
