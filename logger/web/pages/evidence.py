"""Pictures out of the dated folders of evidence and of the drafts, as they are."""

from __future__ import annotations

import re
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from logger.web.site import Site, visitor_of

_KINDS = ("lens", "plane", "places", "light", "gates")
_FOLDER = re.compile(r"(lens|plane|places|light|gates)-\d{4}-\d{2}-\d{2}T\d{6}[\w.-]{0,20}")
_FILE = re.compile(r"[\w-]{1,60}\.(svg|png)")
_DRAFT = re.compile(r"[\w.-]{1,80}\.(svg|png|jpg|webp)")
_VIEW = re.compile(r"[\w-]{1,120}-view-[\w-]{1,40}\.png")
_TYPES = {".svg": "image/svg+xml", ".png": "image/png", ".jpg": "image/jpeg", ".webp": "image/webp"}
_DRAWING = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox"}
"""A drawing may carry its own look, and nothing that runs."""


def routes(site: Site) -> list[Route]:
    """Evidence, drafts, kept views."""

    def evidence(request: Request) -> Response:
        kind, folder, file = (request.path_params[name] for name in ("kind", "folder", "file"))
        if kind not in _KINDS or not _FOLDER.fullmatch(folder) or not _FILE.fullmatch(file):
            raise HTTPException(404)
        return _sent(request, site.folder / kind / folder / file)

    def draft(request: Request) -> Response:
        step, file = request.path_params["step"], request.path_params["file"]
        if not re.fullmatch(r"[a-z]{1,20}", step) or not _DRAFT.fullmatch(file):
            raise HTTPException(404)
        return _sent(request, site.drafts.folder / step / file)

    def view(request: Request) -> Response:
        file = request.path_params["file"]
        camera = site.rig().camera
        if camera is None or not _VIEW.fullmatch(file):
            raise HTTPException(404)
        return _sent(request, (site.folder / camera.calibration).parent / file)

    return [
        Route("/evidence/{kind}/{folder}/{file}", evidence, methods=["GET"]),
        Route("/draft/{step}/{file}", draft, methods=["GET"]),
        Route("/view/{file}", view, methods=["GET"]),
    ]


def address_of(path: Path, folder: Path) -> str | None:
    """Where a page finds the picture at `path`, beside the rig's `folder`; None: it does not show such."""
    parts = path.relative_to(folder).parts if path.is_relative_to(folder) else path.parts[-1:]
    if len(parts) == 3 and parts[0] in _KINDS and _FOLDER.fullmatch(parts[1]) and _FILE.fullmatch(parts[2]):
        return "/evidence/" + "/".join(parts)
    return f"/view/{path.name}" if _VIEW.fullmatch(path.name) else None


def _sent(request: Request, path: Path) -> Response:
    """Photographs only for those who may change things: somebody may have been before the camera."""
    if path.suffix != ".svg" and not visitor_of(request).is_operator:
        raise HTTPException(403, "viewers see drawings, not photographs")
    if not path.is_file() or path.is_symlink():
        raise HTTPException(404)
    headers = _DRAWING if path.suffix == ".svg" else {}
    return FileResponse(
        path, media_type=_TYPES[path.suffix], headers={"Cache-Control": "private, max-age=5", **headers}
    )
