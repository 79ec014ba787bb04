"""A study pack on disk: a folder, or one zip, of pages that open in any browser, from a stick, without the rig."""

from __future__ import annotations

import re
from collections.abc import Mapping

from logger.study.class_folder import Class
from logger.study.class_tables import FORMS, Form, class_files, class_tables, one_table
from logger.study.experiment_view import experiment_views
from logger.study.pack import shell
from logger.study.pack.class_page import class_page
from logger.study.pack.experiment_page import experiment_page, experiments_page, page_name
from logger.study.pack.index_page import index_page
from logger.study.pack.page_words import file_words
from logger.study.pack.track_page import track_page
from logger.study.track_data import tracks_of

_TABLES = "files"
_FOLDERS: Mapping[Form, str] = {"csv": _TABLES, "csv-comma": f"{_TABLES}/comma", "xlsx": _TABLES}


def whole_pack(whole: Class, *, band: str) -> dict[str, bytes]:
    """Pages and tables: the name of each file -> what is in it."""
    return {name: text.encode() for name, text in pack(whole, band=band).items()} | pack_tables(whole)


def pack_tables(whole: Class) -> dict[str, bytes]:
    """All tables of the class in every form, and the track of each run by itself."""
    found: dict[str, bytes] = {}
    for form in FORMS:
        found |= {f"{_FOLDERS[form]}/{name}": made for name, made in class_files(whole, form).items()}
    pages = page_names(whole)
    for one in whole.runs:
        if one.run.series is None:
            continue
        tables = class_tables(whole, only=one.id)
        found[f"{_TABLES}/{pages[one.id]}-track.csv"] = one_table(tables, "tracks", "csv")
        found[f"{_TABLES}/comma/{pages[one.id]}-track.csv"] = one_table(tables, "tracks", "csv-comma")
    return found


def _place(whole: Class, pages: Mapping[str, str]) -> shell.Place:
    with_track = {one.id for one in whole.runs if one.run.series is not None}

    def run_files(run_id: str) -> list[tuple[str, str]]:
        if run_id not in with_track:
            return []
        name = f"{pages[run_id]}-track.csv"
        return [(said["track"], f"{_TABLES}/{name}"), (said["track-comma"], f"{_TABLES}/comma/{name}")]

    said = file_words()
    every = [(said["xlsx"], f"{_TABLES}/runs.xlsx")]
    for name in ("runs", "boats", "tracks"):
        every.append((f"{said[name]} (CSV)", f"{_TABLES}/{name}.csv"))
        every.append((f"{said[name]} ({said['comma']})", f"{_TABLES}/comma/{name}.csv"))
    every.append((said["meaning"], f"{_TABLES}/csv-metadata.json"))
    return shell.Place(link=lambda page: shell.file_name(pages.get(page, page)), class_files=every, run_files=run_files)


def pack(whole: Class, *, band: str) -> dict[str, str]:
    """Every file of the pack: its name -> its text. No file asks for another but by a link that somebody follows."""
    tracks = tracks_of(whole)
    pages = page_names(whole)
    place = _place(whole, pages)
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
