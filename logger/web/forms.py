"""What a form has sent: read within bounds, and only if the form was drawn for the browser that sends it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from python_multipart.exceptions import FormParserError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request

from logger.errors import InputError
from logger.web.sessions import is_token
from logger.web.site import visitor_of
from logger.web.uploads import Kind, checked

_MOST_FILES, _MOST_FIELDS, _PART_BYTES = 80, 400, 300_000
_MOST_SIGNS = 100_000


@dataclass(frozen=True, slots=True)
class Sent:
    """A picture or a film."""

    field: str
    """The field that it was sent in."""
    name: str
    """To keep it under."""
    content: bytes
    kind: Kind


@dataclass(frozen=True, slots=True)
class Form:
    """All that was sent."""

    values: Mapping[str, str]
    lists: Mapping[str, Sequence[str]]
    """Every value of fields that may be there several times."""
    sent: Sequence[Sent]

    def get(self, name: str) -> str:
        """A field without blanks at its ends; empty if it was not sent."""
        return self.values.get(name, "").strip()


async def read(request: Request, *, files: bool = False, films: bool = False) -> Form:
    """The form.

    Raises:
        HTTPException: it is none, it is too large, or it was not drawn for this browser.
        InputError: a file is not what was wanted.
    """
    try:
        form = await request.form(
            max_files=_MOST_FILES if files else 0, max_fields=_MOST_FIELDS, max_part_size=_PART_BYTES
        )
    except (MultiPartException, FormParserError, HTTPException, UnicodeError, ValueError) as error:
        raise HTTPException(400, "this is no form that can be read; open the page anew and try again") from error
    try:
        lists: dict[str, list[str]] = {}
        uploads: list[tuple[str, UploadFile]] = []
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                uploads.append((name, value))
            else:
                lists.setdefault(name, []).append(_clean(value))
        values = {name: every[-1] for name, every in lists.items()}
        if not is_token(visitor_of(request), values.get("token", "")):
            raise HTTPException(403, "this form is not of this visit; open the page anew and try again")
        sent = [one for name, upload in uploads if (one := await _sent(name, upload, films=films)) is not None]
    finally:
        await form.close()
    return Form(values, lists, sent)


async def _sent(field: str, upload: UploadFile, *, films: bool) -> Sent | None:
    """None: no file was chosen."""
    content = await upload.read()
    if not content and not upload.filename:
        return None
    name, kind = await run_in_threadpool(checked, upload.filename or "picture", content, films=films)
    return Sent(field, name, content, kind)


def _clean(text: str) -> str:
    """Without what no field of ours can mean: signs that are not printed, but for line breaks."""
    if len(text) > _MOST_SIGNS:
        raise InputError(f"found {len(text)} signs in a field; wanted {_MOST_SIGNS} at most")
    return "".join(sign for sign in text.replace("\r\n", "\n") if sign == "\n" or sign == "\t" or sign.isprintable())
