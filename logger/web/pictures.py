"""Pictures of the rig that were sent or taken, on their way to a calibration: kept as drafts, shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
from PIL import Image, UnidentifiedImageError

from logger.errors import InputError
from logger.recording.stills import Still, is_video, read_still
from logger.web.drafts import Drafts
from logger.web.forms import Sent
from logger.web.language import N_

_MOST_COUNT = 30


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as a page shows it."""

    address: str
    width_px: int
    height_px: int


def keep_sent(drafts: Drafts, step: str, slot: str, sent: Sequence[Sent], *, several: bool) -> None:
    """Keep what was sent under the name `slot`: a photograph as it came, a film as the still picture that it makes.

    Raises:
        InputError: nothing was sent, or more than is wanted, or a film that cannot be read.
    """
    if not sent:
        raise InputError(N_("no file was chosen; choose a photograph, or let the rig's camera take one"))
    if len(sent) > 1 and not several:
        raise InputError(f"found {len(sent)} files; wanted one picture here")
    for one in sent:
        name = _name(drafts, step, slot, several=several)
        kept = drafts.put(step, name + Path(one.name).suffix, one.content)
        if one.kind == "film" and not several:
            try:
                keep_still(drafts, step, slot, read_still([kept]), several=False)
            finally:
                kept.unlink(missing_ok=True)


def keep_still(drafts: Drafts, step: str, slot: str, still: Still, *, several: bool) -> None:
    """Keep a picture that the rig's camera took."""
    drafts.put(step, _name(drafts, step, slot, several=several) + ".png", cv2.imencode(".png", still.grey)[1].tobytes())


def _name(drafts: Drafts, step: str, slot: str, *, several: bool) -> str:
    if not several:
        return slot
    taken = {file.stem for file in drafts.files(step)}
    for number in range(1, _MOST_COUNT + 1):
        if f"{slot}-{number}" not in taken:
            return f"{slot}-{number}"
    raise InputError(f"found {_MOST_COUNT} pictures; forget some of them first")


def shown_picture(file: Path) -> Shown | None:
    """How a page shows a draft's picture; None: it is a film, or no picture any more."""
    if is_video(file):
        return None
    try:
        with Image.open(file) as picture:
            width, height = picture.size
    except (OSError, UnidentifiedImageError, ValueError, SyntaxError):
        return None
    # another address for each, so that no browser shows an older one
    return Shown(f"/draft/{file.parent.name}/{file.name}?{file.stat().st_mtime_ns % 10**12}", width, height)
