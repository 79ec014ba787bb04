"""What stands around every page: its head, its style and its scripts, served from the rig or carried inside the page.

A page of a study pack is one file: style and scripts stand in it, named by their hash in a policy that forbids the
browser everything else (Content Security Policy Level 3), so no file can fetch anything from anywhere. A served page
links them, under the server's own policy.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from gettext import NullTranslations
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from logger import __version__
from logger.study import words
from logger.study.tongue import in_use
from logger.study.track_data import as_json

STYLES = ("study.css",)
BANDS = (("2-3", "2–3"), ("4-5", "4–5"), ("6-8", "6–8"))
SERVED_POLICY = (
    "default-src 'none'; img-src 'self' blob:; style-src 'self'; script-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
"""For served pages: pictures that the page itself has drawn may be made into files."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where pages stand, and so how they are linked."""

    link: Callable[[str], str]
    """From the name of a page (`index`, `class`, a run's) to its address."""
    static: str = ""
    """Where style and scripts are fetched from, such as "/static/"; empty: they stand in the page."""
    home: str = ""
    """Address of the rig's own pages; empty where there is no rig."""
    class_files: Sequence[tuple[str, str]] = ()
    """Tables of the whole class: what each is, and its address."""
    run_files: Callable[[str], Sequence[tuple[str, str]]] = lambda _run: ()
    """From a run to its tables."""


def file_name(page: str) -> str:
    """The file of a page in a study pack."""
    return f"{page}.html"


PACK = Place(link=file_name)


def draw(template: str, place: Place, *, scripts: Sequence[str], data: dict[str, Any], **values: Any) -> str:
    """A whole page as text."""
    inside = not place.static
    return _world(in_use()).get_template(template).render(
        place=place, data=as_json(data), version=__version__, inside=inside, band_names=BANDS,
        styles=[(name, static_text(name) if inside else "") for name in STYLES],
        scripts=[(name, static_text(name) if inside else "") for name in scripts],
        policy=policy(scripts) if inside else "", say=words,
        **values,
    )  # fmt: skip


@cache
def _world(catalogue: NullTranslations) -> Environment:
    """The templates, speaking one language; kept, as reading them takes longer than drawing a page."""
    world = Environment(
        loader=PackageLoader("logger.study.pack"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, extensions=["jinja2.ext.i18n"],
    )  # fmt: skip
    world.install_gettext_translations(catalogue, newstyle=False)  # type: ignore[attr-defined]
    return world


def policy(scripts: Sequence[str]) -> str:
    """What a page that stands alone may do: draw itself with what is in it, by hash, and nothing else."""
    told = {"script-src": scripts, "style-src": STYLES}
    kinds = "; ".join(f"{kind} {' '.join(_hash(static_text(name)) for name in names)}" for kind, names in told.items())
    return f"default-src 'none'; img-src blob: data:; {kinds}; base-uri 'none'; form-action 'none'"


@cache
def static_text(name: str) -> str:
    """A style or a script of the pages."""
    return files("logger.study.pack").joinpath("static", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
