"""Make a film of each recording's pictures, for other programs.

mov: the camera's own pictures, untouched, each at its exact time. webm: coded anew, plays in every browser. The film is
put beside the recording's files, or into another folder under the recording's name. Nothing is overwritten, and the
recording stays as it is.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli.keep import new_folder
from logger.errors import LoggerError

if TYPE_CHECKING:
    from logger.recording.film import Form


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("recordings", nargs="+", type=Path, metavar="RECORDING", help="the folder of a recording")
    parser.add_argument(
        "--as", dest="form", choices=("mov", "webm"), default="webm",
        help="mov: exact copies with exact times; webm: for browsers (the default)",
    )  # fmt: skip
    parser.add_argument("--to", type=Path, metavar="DIR", help="a folder for the films (made if it is not there)")


def run(arguments: argparse.Namespace) -> int:
    """Make each film; 2 if any of them could not be made."""
    status = 0
    if arguments.to is not None and not arguments.to.is_dir():
        new_folder(arguments.to)
    for folder in arguments.recordings:
        try:
            print(_film(folder, _place(folder, arguments.form, arguments.to), arguments.form))
        except LoggerError as error:
            status = 2
            print(f"boatrun film: {' '.join(str(error).split())}", file=sys.stderr)
    return status


def _place(folder: Path, form: str, to: Path | None) -> Path:
    if to is None:
        return folder / f"film.{form}"
    return to / f"{folder.resolve().name}.{form}"


def _film(folder: Path, to: Path, form: Form) -> str:
    from tqdm import tqdm

    from logger.recording.film import write_film
    from logger.recording.folder import load

    recording = load(folder)
    total = 0 if recording.stamps is None else len(recording.stamps.t_ns)
    with tqdm(total=total, delay=2, disable=None, unit="picture", leave=False) as bar:
        count = write_film(recording, to, form, progress=lambda done: _move(bar, done))
    left_out = f", {total - count} damaged ones left out" if count < total else ""
    return f"{to}: {count} pictures{left_out}"


def _move(bar: object, done: int) -> None:
    bar.update(done - bar.n)  # type: ignore[attr-defined]
