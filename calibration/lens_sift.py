"""From a heap of pictures to the views a lens is fitted to, and for each other picture a sentence why not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.board import Board, BoardSeen, CharucoBoard, NoBoard, Picture
from calibration.lens_views import MOST_VIEWS_COUNT, Quality, quality, spread
from calibration.targets import PLANE_BOARD


@dataclass(frozen=True, slots=True, eq=False)
class Sifted:
    """What was found in the pictures."""

    views: Mapping[str, BoardSeen]
    """The views to take, in the order of the pictures."""
    qualities: Mapping[str, Quality]
    """Of each of them."""
    left_out: Mapping[str, str]
    """For each other picture why it was not taken."""
    pictures: Mapping[str, Picture]
    """Those of the views, if they were to be kept."""


def sift(
    pictures: Iterable[tuple[str, Picture]],
    board: Board,
    *,
    most_count: int = MOST_VIEWS_COUNT,
    keep_pictures: bool = False,
) -> Sifted:
    """Look for the `board` in named pictures, each once, grey (H, W) or colour; take few, sharp, unlike ones."""
    seen: dict[str, BoardSeen] = {}
    qualities: dict[str, Quality] = {}
    left_out: dict[str, str] = {}
    kept: dict[str, Picture] = {}
    for name, picture in pictures:
        found = board.find(picture)
        if isinstance(found, NoBoard):
            left_out[name] = _why(picture, board, found)
            continue
        judged = quality(picture, found)
        if judged.trouble:
            left_out[name] = judged.trouble
            continue
        seen[name], qualities[name] = found, judged
        if keep_pictures:
            kept[name] = picture
    taken: list[str] = []
    for size in dict.fromkeys((view.width_px, view.height_px) for view in seen.values()):
        # pictures of another size are refused as a whole later; they must not be lost as "much the same" here
        same = {name: view for name, view in seen.items() if (view.width_px, view.height_px) == size}
        names, reasons = spread(same, {n: qualities[n].edge_px for n in same}, most_count=most_count)
        taken += names
        left_out |= reasons
    views = {name: view for name, view in seen.items() if name in taken}
    return Sifted(
        views,
        {name: qualities[name] for name in views},
        left_out,
        {name: picture for name, picture in kept.items() if name in views},
    )


def _why(picture: Picture, board: Board, found: NoBoard) -> str:
    """Something more helpful than that there is none, where it can be said."""
    if isinstance(board, CharucoBoard):
        mirrored = np.ascontiguousarray(picture[:, ::-1])
        if isinstance(board.find(mirrored), BoardSeen):
            return "it is mirrored: the board is there as in a mirror; switch the camera's mirroring off"
        if board != PLANE_BOARD and isinstance(PLANE_BOARD.find(picture), BoardSeen):
            return "that is the board for the water plane; show the lens board"
    image = picture if picture.ndim == 2 else np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), np.uint8)
    if float(np.mean(image >= 253)) > 0.5:
        return f"no board; most of the picture is cut off to white: expose less ({found.reason})"
    return f"no board found ({found.reason}); is it blurred, hidden, or another board?"
