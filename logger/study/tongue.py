"""In which language sentences are said that are put together in code: `_("...")` looks them up in the catalogue in use.

English stands in the code itself. A page or a command that speaks another language says so once, with `speaking`;
templates are given the same catalogue.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from gettext import NullTranslations

_IN_USE: ContextVar[NullTranslations] = ContextVar("tongue")
_ENGLISH = NullTranslations()


def _(sentence: str) -> str:
    """`sentence` in the language in use; itself where the catalogue has it not."""
    return in_use().gettext(sentence)


def several(one: str, many: str, count: int) -> str:
    """The form of a sentence that goes with `count`."""
    return in_use().ngettext(one, many, count)


def in_use() -> NullTranslations:
    """The catalogue in use; plain English unless somebody has said otherwise."""
    return _IN_USE.get(_ENGLISH)


@contextmanager
def speaking(catalogue: NullTranslations) -> Iterator[None]:
    """Say everything inside in the language of `catalogue`."""
    before = _IN_USE.set(catalogue)
    try:
        yield
    finally:
        _IN_USE.reset(before)
