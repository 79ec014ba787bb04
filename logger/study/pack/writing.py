"""A study pack on disk: a folder, or one zip, of pages that open in any browser, from a stick, without the rig."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping

from logger.study.class_folder import Class
from logger.study.experiment_view import experiment_views
from logger.study.pack import shell
from logger.study.pack.class_page import class_page
from logger.study.pack.experiment_page import experiment_page, experiments_page, page_name
from logger.study.pack.index_page import index_page
from logger.study.pack.track_page import track_page
from logger.study.track_data import tracks_of

ZIP_DATE = (1980, 1, 1, 0, 0, 0)
"""Of the files in a zip, so that the same class makes the same file."""


def pack(whole: Class, *, band: str) -> dict[str, str]:
    """Every file of the pack: its name -> its text. No file asks for another but by a link that somebody follows."""
    tracks = tracks_of(whole)
    pages = page_names(whole)
    place = shell.Place(link=lambda page: shell.file_name(pages.get(page, page)))
    files = {shell.file_name("index"): index_page(whole, tracks.names, place, band=band)}
    files[shell.file_name("class")] = class_page(whole, place, band=band)
    if whole.plans:
        files[shell.file_name("experiments")] = experiments_page(whole, place, band=band)
    for name, view in experiment_views(whole).items():
        files[shell.file_name(page_name(name))] = experiment_page(view, whole, place, band=band)
    for one in whole.runs:
        files[shell.file_name(pages[one.id])] = track_page(one, tracks, place, band=band)
    return files


def page_names(whole: Class) -> Mapping[str, str]:
    """Run -> the name of its page: what every file system takes, unlike each other and every other page."""
    found: dict[str, str] = {}
    taken = {"index", "class", "experiments", *(page_name(kept.name) for kept in whole.plans)}
    for one in whole.runs:
        name = re.sub(r"[^a-z0-9-]+", "-", one.id.lower()).strip("-") or "run"
        found[one.id] = f"{name}-{one.number}" if name in taken else name
        taken.add(found[one.id])
    return found


def zipped(files: Mapping[str, str], folder: str) -> bytes:
    """The pack as one zip that unpacks into `folder`."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE), text.encode(), zipfile.ZIP_DEFLATED)
    return made.getvalue()
