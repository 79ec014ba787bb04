"""Where the views of `boatrun calibrate lens` come from: photos, a film, the live camera, or earlier evidence."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.board import Board, BoardSeen
from calibration.errors import CalibrationError
from calibration.lens_coverage import Coverage
from calibration.lens_flat import USUAL_GAP_MM
from calibration.lens_resize import cut_words
from calibration.lens_sift import Sifted, sift
from calibration.lens_views import Quality
from logger.errors import InputError
from logger.guide.stills_now import camera_of
from logger.recording.board_film import sharpest
from logger.recording.lens_evidence import read_corners
from logger.recording.photos import PHOTO_ENDINGS, Photo, judged, read_photo
from logger.recording.rig_toml import read_rig
from logger.station.lens_session import watch

Pictures = tuple[tuple[str, NDArray[np.uint8]], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """Views that were gathered, and what is known of them."""

    source: str
    """Where they came from, in words."""
    views: Mapping[str, BoardSeen]
    qualities: Mapping[str, Quality] = field(default_factory=dict)
    left_out: Mapping[str, str] = field(default_factory=dict)
    """Why other pictures were not taken."""
    notes: tuple[str, ...] = ()
    digests: Mapping[str, str] = field(default_factory=dict)
    """SHA-256 of photos, which are not copied."""
    pictures: Pictures = ()
    """Those that are to be kept because nothing else holds them."""
    flat_mm: float = USUAL_GAP_MM
    """Widest gap under a straight edge laid over the board."""


def without(material: Material, names: Sequence[str], *, place: str) -> Material:
    """The same without the views of these names. InputError: one that is not there."""
    unknown = [name for name in names if name not in material.views and name not in material.left_out]
    if unknown:
        raise InputError(
            f"{place}: --without: found no picture {unknown[0]!r}; wanted one of {', '.join(list(material.views)[:30])}"
        )
    kept = {name: view for name, view in material.views.items() if name not in names}
    told = {name: "left out by hand" for name in names if name in material.views}
    return replace(
        material, views=kept, left_out={**told, **material.left_out},
        pictures=tuple(one for one in material.pictures if one[0] in kept),
    )  # fmt: skip


def photos(sources: Sequence[Path], board: Board, *, place: str) -> Material:
    """Photos, or folders of them. InputError: none, or they do not belong together."""
    paths: list[Path] = []
    for source in sources:
        if source.is_dir():
            inside = sorted(p for p in source.iterdir() if p.suffix.lower() in PHOTO_ENDINGS)
            if not inside:
                raise InputError(f"{source}: found no photos; wanted files that end in {', '.join(PHOTO_ENDINGS)}")
            paths += inside
        elif source.exists():
            paths.append(source)
        else:
            raise InputError(f"{source}: there is no such file or folder; wanted photos of the board")
    names = _names(paths)
    read: list[Photo] = []
    left_out: dict[str, str] = {}

    def each() -> Pictures:
        found = []
        for path in paths:
            photo = read_photo(path)
            if isinstance(photo, str):
                left_out[names[path]] = photo
                continue
            read.append(photo)
            found.append((names[path], photo.picture))
        return tuple(found)

    pictures = each()
    mistakes, doubts = judged(read)
    if mistakes:
        raise CalibrationError(place, mistakes)
    sifted = sift(pictures, board)
    digests = {name: photo.sha256 for (name, _), photo in zip(pictures, read, strict=True)}
    return _of(f"{len(paths)} photos", sifted, left_out=left_out, notes=tuple(doubts), digests=digests)


def _names(paths: Sequence[Path]) -> dict[Path, str]:
    """A name for each, by itself and fit for a table."""
    found: dict[Path, str] = {}
    for path in paths:
        plain = "".join(letter if letter.isprintable() else "_" for letter in path.name)
        name, number = plain, 2
        while name in found.values():
            name, number = f"{plain} ({number})", number + 1
        found[path] = name
    return found


def film(path: Path, board: Board) -> Material:
    """A film in which somebody shows the board."""
    if not path.is_file():
        raise InputError(f"{path}: there is no such film")
    sifted = sift(sharpest(path), board, keep_pictures=True)
    return _of(f"the film {path.name}", sifted)


def live(
    rig_file: Path,
    board: Board,
    *,
    length_s: float,
    told: Callable[[str], None],
    shown: Callable[[Coverage], None] = lambda _: None,
    enough: Callable[[], bool] = lambda: False,
) -> Material:
    """The rig's own camera, while somebody shows the board to it; `shown` and `enough` as `watch` has them."""
    rig = read_rig(rig_file)
    with camera_of(rig, rig_file) as camera:
        seen = watch(camera, board, length_s=length_s, told=told, shown=shown, enough=enough)
    sifted = sift(seen.pictures, board, keep_pictures=True)
    choice = rig.camera.driver if rig.camera is not None else None
    kind = choice.kind if choice is not None else ""
    simulated = ("the pictures are simulated",) if rig.simulated or kind.startswith("simulated_") else ()
    return _of(f"the camera of {rig.name} ({kind})", sifted, notes=(*simulated, *seen.faults))


def again(folder: Path) -> Material:
    """The views of an earlier calibration."""
    return Material(f"the evidence in {folder}", read_corners(folder))


def _of(
    source: str,
    sifted: Sifted,
    *,
    left_out: Mapping[str, str] | None = None,
    notes: tuple[str, ...] = (),
    digests: Mapping[str, str] | None = None,
) -> Material:
    return Material(
        source,
        sifted.views,
        sifted.qualities,
        {**(left_out or {}), **sifted.left_out},
        notes,
        {name: digest for name, digest in (digests or {}).items() if name in sifted.views},
        tuple(sifted.pictures.items()),
    )


def check_stream(material: Material, rig_file: Path, *, place: str) -> None:
    """CalibrationError unless the pictures have the size that the rig's camera sends."""
    rig = read_rig(rig_file)
    options = rig.camera.driver.options if rig.camera is not None and rig.camera.driver is not None else {}
    stream = options.get("width_px"), options.get("height_px")
    if not (isinstance(stream[0], int) and isinstance(stream[1], int)):
        raise InputError(
            f"{rig_file}: [camera.driver] does not say width_px and height_px; add them or leave --rig out"
        )
    for view in material.views.values():
        if (view.width_px, view.height_px) != (stream[0], stream[1]):
            raise CalibrationError(place, [cut_words((view.width_px, view.height_px), (stream[0], stream[1]))])
