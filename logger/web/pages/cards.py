"""Boats' cards: the list, and one to fill in."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import cast

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calibration.readings import read_length, read_mass
from logger.checkup.steps import CARDS
from logger.config import Boat, Name
from logger.errors import InputError, LoggerError
from logger.recording.boat_card import Steps, number_of, oddities, read_boat, tag_of, with_numbers, write_boat
from logger.settings import Text
from logger.web import forms
from logger.web.site import Site, go

NUMBERS = ("length_mm", "width_mm", "freeboard_mm", "mass_g", "mast_height_mm", "tag.size_mm", "tag.height_mm",
           "tag.bow_ahead_mm")  # fmt: skip
"""Fields that are readings, as they are called in the card's file."""
_FILE = re.compile(r"[\w-]{1,60}\.toml")
_NAME = cast(Text, Name.__metadata__[0])  # type: ignore[attr-defined]


def routes(site: Site) -> list[Route]:
    """The list, an empty card, a card, and writing it."""

    async def every(request: Request) -> Response:
        boats, unread = [], []
        for path in _cards(site):
            try:
                boats.append({"file": path.name, "boat": read_boat(path)})
            except LoggerError as error:
                unread.append(str(error))
        return site.draw(request, "cards.html", boats=boats, wrong=" | ".join(unread))

    async def card(request: Request) -> Response:
        file = request.path_params["file"]
        boat = None if file == "new" else read_boat(_path(site, file))
        return site.draw(request, "card.html", file=file, boat=boat, values={}, odd=[])

    async def write(request: Request) -> Response:
        form, file = await forms.read(request), request.path_params["file"]
        boat = None if file == "new" else read_boat(_path(site, file))
        try:
            made = _made(boat, form)
            odd = oddities(made)
            if odd and not form.get("sure"):
                return site.draw(request, "card.html", status=422, file=file, boat=boat, values=form.values, odd=odd)
            path = _new_path(site, made.name) if file == "new" else _path(site, file)
            await run_in_threadpool(lambda: write_boat(path, made, at=site.now()))
        except (LoggerError, ValueError) as error:
            return site.draw(
                request, "card.html", status=422, file=file, boat=boat, values=form.values, odd=[], wrong=str(error)
            )
        return go("/cards?said=card")

    return [
        Route("/cards", every, methods=["GET"]),
        Route("/cards/{file}", card, methods=["GET"]),
        Route("/cards/{file}", write, methods=["POST"]),
    ]


def _cards(site: Site) -> list[Path]:
    return [path for path in sorted((site.folder / CARDS).glob("*.toml")) if "-before-" not in path.name]


def _path(site: Site, file: str) -> Path:
    path = site.folder / CARDS / file
    if not _FILE.fullmatch(file) or not path.is_file():
        raise HTTPException(404)
    return path


def _new_path(site: Site, name: str) -> Path:
    """A free name for the card of a boat of that name."""
    folder = site.folder / CARDS
    folder.mkdir(exist_ok=True)
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "boat"
    path, number = folder / f"{plain[:40]}.toml", 2
    while path.exists():
        path, number = folder / f"{plain[:40]}-{number}.toml", number + 1
    return path


def _made(boat: Boat | None, form: forms.Form) -> Boat:
    """The card with what was typed. InputError or ValueError: what is wrong."""
    name = form.get("name") or ("" if boat is None else boat.name)
    complaint = _NAME.complaint(name)
    if complaint is not None:
        raise InputError(f"nickname of the boat: found {name!r}; wanted {complaint}")
    made = replace(boat or Boat(name), name=name, team=form.get("team"), colour=form.get("colour"))
    made = replace(made, material=form.get("material"))
    if form.get("rebuilt") and boat is not None:
        made = replace(made, version=boat.version + 1)
    number = form.get("tag_number")
    if number and not (number.isascii() and number.isdigit() and len(number) < 6):
        raise InputError(f"the tag's number: found {number!r}; wanted the number printed below it")
    kind = form.get("tag") if form.get("tag") in ("square", "disc", "none") else "none"
    made = replace(made, tag=tag_of(kind, int(number) if number and kind == "square" else None, made.tag))
    steps = Steps(read_length(form.get("ruler_step") or "1 mm").value, read_mass(form.get("scale_step") or "1 g").value)
    mistakes = []
    for field in NUMBERS:
        text = form.get(field)
        if not text or (field.startswith("tag.") and made.tag is None):
            continue
        try:
            made = with_numbers(made, number_of(field, text, steps))
        except ValueError as error:
            mistakes.append(f"{field.replace('tag.', 'tag: ').rsplit('_', 1)[0].replace('_', ' ')}: {error}")
    if mistakes:
        raise InputError(" | ".join(mistakes))
    return made
