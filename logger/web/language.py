"""The language of a page: which one a visitor reads, and every sentence in it.

    _("Go in")            the sentence in the language of the page that is being drawn
    N_("Go in")           only marks it: it is looked up later, by _(…)

English is what stands in the code. Other languages are gettext catalogues: locale/LANGUAGE/LC_MESSAGES/boatrun.po. A
new language: a folder there, and its name below. What a run was measured to say (flags, cures, refusals) is English.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Mapping
from contextvars import ContextVar
from functools import cache
from importlib.resources import files
from types import MappingProxyType

import polib
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

LANGUAGES: Mapping[str, str] = MappingProxyType({"en": "English", "es": "Español"})
"""Its code (BCP 47) -> what those who read it call it."""
SOURCE = "en"
COOKIE = "language"
_now: ContextVar[str] = ContextVar("language", default=SOURCE)


def language() -> str:
    """Code of the language in which the page that is being drawn is written."""
    return _now.get()


def _(message: str) -> str:
    """A sentence in the language of the page."""
    return catalogue(_now.get()).gettext(message)


def ngettext(one: str, many: str, count: int) -> str:
    """A sentence that depends on a number, in the language of the page."""
    return catalogue(_now.get()).ngettext(one, many, count)


def N_(message: str) -> str:  # noqa: N802 - what gettext's users call it
    """Marks a sentence for the catalogues; it is English still."""
    return message


@cache
def catalogue(code: str) -> gettext.NullTranslations:
    """All sentences of a language; those of the source language are as they stand in the code."""
    if code == SOURCE or code not in LANGUAGES:
        return gettext.NullTranslations()
    text = files("logger.web").joinpath("locale", code, "LC_MESSAGES", "boatrun.po").read_text(encoding="utf-8")
    return gettext.GNUTranslations(io.BytesIO(polib.pofile(text).to_binary()))


def wanted(cookie: str | None, accepts: str) -> str:
    """The language for a browser: the one that was chosen, else the one that it likes best (RFC 9110, 12.5.4)."""
    if cookie in LANGUAGES:
        return str(cookie)
    liked: list[tuple[float, str]] = []
    for part in accepts.split(",")[:20]:
        tag, _sep, quality = part.strip().partition(";q=")
        try:
            worth = float(quality or 1)
        except ValueError:
            worth = 0.0
        code = tag.strip().lower().split("-")[0]
        if code in LANGUAGES and worth > 0:
            liked.append((worth, code))
    return max(liked, key=lambda one: one[0])[1] if liked else SOURCE


class Tongue:
    """An ASGI application around another one, which then speaks each visitor's language."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer in that language."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        before = _now.set(wanted(asked.cookies.get(COOKIE), asked.headers.get("accept-language", "")))
        try:
            await self._app(scope, receive, send)
        finally:
            _now.reset(before)
