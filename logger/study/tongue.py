"""In which language sentences are said that are put together in code: `_("...")` looks them up in the catalogue in use.

English stands in the code itself. A page or a command that speaks another language says so once, with `speaking`;
templates are given the same catalogue.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files

import polib

LANGUAGES = ("en", "es")
_IN_USE: ContextVar[NullTranslations] = ContextVar("tongue")
_ENGLISH = NullTranslations()


def _(sentence: str) -> str:
    """`sentence` in the language in use; itself where the catalogue has it not."""
    return in_use().gettext(sentence)


def N_(sentence: str) -> str:  # noqa: N802 - the usual name of the mark
    """`sentence` as it is: marks what is looked up later."""
    return sentence


def several(one: str, many: str, count: int) -> str:
    """The form of a sentence that goes with `count`."""
    return in_use().ngettext(one, many, count)


def in_use() -> NullTranslations:
    """The catalogue in use; plain English unless somebody has said otherwise."""
    return _IN_USE.get(_ENGLISH)


@cache
def catalogue(code: str) -> NullTranslations:
    """The sentences of a language for the study pages; those that it has not, and other languages, are English."""
    if code not in LANGUAGES[1:]:
        return _ENGLISH
    text = files("logger.study").joinpath("locale", code, "LC_MESSAGES", "study.po").read_text(encoding="utf-8")
    return GNUTranslations(io.BytesIO(polib.pofile(text).to_binary()))


@contextmanager
def speaking(catalogue: NullTranslations) -> Iterator[None]:
    """Say everything inside in the language of `catalogue`."""
    before = _IN_USE.set(catalogue)
    try:
        yield
    finally:
        _IN_USE.reset(before)
