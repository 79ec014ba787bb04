"""Classes to be studied, by whoever looks on: no PIN, nothing can be changed; pages, sheets, a pack to carry away."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response
from starlette.routing import Route

from logger.errors import LoggerError
from logger.recording.copies import Copy, note_copy
from logger.study.class_folder import STORE, Class, is_class_folder, read_class
from logger.study.class_tables import FORMS, class_files, class_tables, one_table, zipped_files
from logger.study.experiment_file import FOLDER as PLANS
from logger.study.experiment_view import experiment_views
from logger.study.pack import shell
from logger.study.pack.class_page import class_page
from logger.study.pack.experiment_page import experiment_page, experiments_page, page_name
from logger.study.pack.index_page import index_page
from logger.study.pack.page_words import file_words
from logger.study.pack.track_page import track_page
from logger.study.pack.writing import whole_pack
from logger.study.paper import PAPERS
from logger.study.prints.every import SHEETS, class_sheets, sheets_told
from logger.study.tongue import catalogue, speaking
from logger.study.track_data import Tracks, tracks_of
from logger.web.language import language
from logger.web.site import Site

Made = TypeVar("Made")
GRADES = tuple(name for name, _text in shell.BANDS)
_KEPT_COUNT = 4
"""So many classes are kept as they were read."""


@dataclass(slots=True)
class _Shelf:
    """Classes that were read, until their store changes."""

    kept: OrderedDict[tuple[Path, str], tuple[object, Tracks]] = field(default_factory=OrderedDict)
    """By folder and language: what runs are called is among what is kept."""

    def tracks(self, folder: Path, code: str, *, plans_beside: Sequence[Path] = ()) -> Tracks:
        """The class in `folder` as it stands now, in a language, with the experiments kept there and beside it."""
        state, key = _state(folder, *plans_beside), (folder, code)
        found = self.kept.get(key)
        if found is not None and found[0] == state:
            return found[1]
        tracks = tracks_of(read_class(folder, plans_beside=plans_beside))
        if tracks.whole.missing:
            return tracks  # whoever puts a recording back is to see it at once; the store does not change by that
        self.kept[key] = (state, tracks)
        while len(self.kept) > _KEPT_COUNT:
            self.kept.popitem(last=False)
        return tracks


def _state(folder: Path, *plans_beside: Path) -> object:
    """What changes whenever the store or a plan does: their files' sizes and times."""
    files = sorted(folder.glob(f"{STORE}*"))
    for place in (folder, *plans_beside):
        files += sorted((place / PLANS).glob("*.toml"))
    return [
        (file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in files if not file.name.endswith("-shm")
    ]


def class_folders(folder: Path) -> dict[str, Path]:
    """Classes beside the rig file, by name: the folder itself, those in it, and those in folders of it."""
    found = {}
    for place in (folder, *sorted(folder.glob("*/")), *sorted(folder.glob("*/*/"))):
        if is_class_folder(place):
            name = place.name if place.name not in found else f"{place.parent.name} {place.name}"
            found[name] = place
    return found


def routes(site: Site) -> list[Route]:
    """The list of classes, and of each its pages, its sheets, its pack."""
    desk = _Desk(site.folder)

    async def every(request: Request) -> Response:
        with speaking(catalogue(language())):
            named = sheets_told()
        return site.draw(request, "study.html", classes=list(class_folders(site.folder)), sheets=named)

    async def carried(request: Request) -> Response:
        answer = await desk.carried(request)
        await run_in_threadpool(_note, site, request.path_params["name"])
        return answer

    at = "/study/{name}"
    return [
        Route("/study", every),
        Route(at, desk.first),
        Route(f"{at}/class", desk.of_class),
        Route(f"{at}/experiments", desk.experiments),
        Route(f"{at}/experiment/{{plan}}", desk.experiment),
        Route(f"{at}/run/{{run}}", desk.of_run),
        Route(f"{at}/run/{{run}}/track.csv", desk.track),
        Route(f"{at}/tables/{{form}}", desk.tables),
        Route(f"{at}/run/{{run}}/tables/{{form}}", desk.tables),
        Route(f"{at}/run/{{run}}/track/{{form}}", desk.track_table),
        Route(f"{at}/print/{{sheet}}.pdf", desk.sheet),
        Route(f"{at}/pack.zip", carried),
    ]


class _Desk:
    """Answers about the classes below a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._shelf = folder, _Shelf()

    async def first(self, request: Request) -> Response:
        """All runs of a class."""
        return await self._page(request, lambda t, p, b: index_page(t.whole, t.names, p, band=b))

    async def of_class(self, request: Request) -> Response:
        """The class as a whole."""
        return await self._page(request, lambda t, p, b: class_page(t.whole, p, band=b))

    async def of_run(self, request: Request) -> Response:
        """One run."""

        def drawn(tracks: Tracks, place: shell.Place, band: str) -> str:
            one = tracks.whole.run(request.path_params["run"])
            if one is None:
                raise HTTPException(404)
            return track_page(one, tracks, place, band=band)

        return await self._page(request, drawn)

    async def experiments(self, request: Request) -> Response:
        """The experiments of a class."""
        return await self._page(request, lambda t, p, b: experiments_page(t.whole, p, band=b))

    async def experiment(self, request: Request) -> Response:
        """One experiment."""

        def drawn(tracks: Tracks, place: shell.Place, band: str) -> str:
            view = experiment_views(tracks.whole).get(request.path_params["plan"])
            if view is None:
                raise HTTPException(404)
            return experiment_page(view, tracks.whole, place, band=band)

        return await self._page(request, drawn)

    async def sheet(self, request: Request) -> Response:
        """A sheet to print, or all."""
        name, paper = request.path_params["sheet"], request.query_params.get("paper", "a4")
        names = list(SHEETS) if name == "all" else [name]
        if not set(names) <= set(SHEETS) or paper not in PAPERS:
            raise HTTPException(404)
        grades = _band(request)
        made = await self._made(request, lambda whole: class_sheets(whole, names, PAPERS[paper], grades=grades))
        how = "inline" if "look" in request.query_params else "attachment"
        return _file(made, "application/pdf", f"{name}.pdf", how=how)

    async def carried(self, request: Request) -> Response:
        """The study pack as a zip."""
        band = _band(request)
        made = await self._made(request, lambda whole: zipped_files(whole_pack(whole, band=band), whole.name))
        return _file(made, "application/zip", "study-pack.zip")

    async def track(self, request: Request) -> Response:
        """The track of a run as it is kept."""
        run_id = request.path_params["run"]
        one = await self._spoken(request, lambda tracks: tracks.whole.run(run_id))
        found = None if one is None or one.folder is None else one.folder / "track.csv"
        if found is None or not found.is_file():
            raise HTTPException(404)
        return FileResponse(found, media_type="text/csv", filename=f"{found.parent.name}-track.csv")

    async def tables(self, request: Request) -> Response:
        """All tables of the class or of one run: a zip of CSV files, or a workbook."""
        form, run_id = request.path_params["form"], request.path_params.get("run", "")
        if form not in FORMS:
            raise HTTPException(404)

        def made(whole: Class) -> bytes:
            _known(whole, run_id)
            found = class_files(whole, form, only=run_id)
            return found["runs.xlsx"] if form == "xlsx" else zipped_files(found, run_id or whole.name)

        stem = f"{run_id}-tables" if run_id else "class-tables"
        content = await self._made(request, made)
        if form == "xlsx":
            return _file(content, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", f"{stem}.xlsx")
        return _file(content, "application/zip", f"{stem}.zip")

    async def track_table(self, request: Request) -> Response:
        """The track of a run as a table by itself."""
        form, run_id = request.path_params["form"], request.path_params["run"]
        if form not in ("csv", "csv-comma"):
            raise HTTPException(404)

        def made(whole: Class) -> bytes:
            _known(whole, run_id)
            return one_table(class_tables(whole, only=run_id), "tracks", form)

        return _file(await self._made(request, made), "text/csv", f"{run_id}-track.csv")

    def _class_folder(self, request: Request) -> Path:
        folder = class_folders(self._folder).get(request.path_params["name"])
        if folder is None:
            raise HTTPException(404)
        return folder

    async def _page(self, request: Request, drawing: Callable[[Tracks, shell.Place, str], str]) -> Response:
        band, name = _band(request), request.path_params["name"]
        text = await self._spoken(request, lambda tracks: drawing(tracks, _place(name), band))
        return HTMLResponse(text, headers={"Content-Security-Policy": shell.SERVED_POLICY})

    async def _made(self, request: Request, making: Callable[[Class], bytes]) -> bytes:
        return await self._spoken(request, lambda tracks: making(tracks.whole))

    async def _spoken(self, request: Request, work: Callable[[Tracks], Made]) -> Made:
        """Done beside the server's own work, in the language of the visitor."""
        folder, code = self._class_folder(request), language()

        def done() -> Made:
            with speaking(catalogue(code)):
                return work(self._shelf.tracks(folder, code, plans_beside=(self._folder,)))

        return await run_in_threadpool(done)


def _known(whole: Class, run_id: str) -> None:
    if run_id and whole.run(run_id) is None and run_id not in {one.id for one in whole.missing}:
        raise HTTPException(404)


def _tables_of(begin: str, said: Mapping[str, str]) -> list[tuple[str, str]]:
    return [(said[form], f"{begin}/tables/{form}") for form in ("xlsx", "csv", "csv-comma")]


def _note(site: Site, name: str) -> None:
    """A pack is a copy that leaves the rig; two at once are no reason to refuse one."""
    with suppress(LoggerError):
        note_copy(site.folder, Copy(site.now().isoformat(timespec="seconds"), name, "study pack", "download"))


def _band(request: Request) -> str:
    band = request.query_params.get("grades", "4-5")
    if band not in GRADES:
        raise HTTPException(404)
    return band


def _place(name: str) -> shell.Place:
    begin = f"/study/{quote(name)}"
    known = {"index": begin, "class": f"{begin}/class", "experiments": f"{begin}/experiments"}
    prefix, said = page_name(""), file_words()

    def link(page: str) -> str:
        if page in known:
            return known[page]
        if page.startswith(prefix):
            return f"{begin}/experiment/{quote(page.removeprefix(prefix))}"
        return f"{begin}/run/{quote(page)}"

    def run_files(run_id: str) -> list[tuple[str, str]]:
        own = f"{begin}/run/{quote(run_id)}"
        tracks = [(said["track"], f"{own}/track/csv"), (said["track-comma"], f"{own}/track/csv-comma")]
        return [*_tables_of(own, said), *tracks]

    return shell.Place(
        link=link, static="/static/", home="/study", class_files=_tables_of(begin, said), run_files=run_files
    )


def _file(made: bytes, kind: str, name: str, *, how: str = "attachment") -> Response:
    """`how`: as an attachment, to be kept; or inline: the browser shows the very pages that will be printed."""
    return Response(made, media_type=kind, headers={"Content-Disposition": f'{how}; filename="{name}"'})
