"""What measuring leaves in a recording's folder: whole files or none, and nothing of earlier ones is lost."""

from __future__ import annotations

import os
from pathlib import Path

from logger.recording.folder import Recording
from logger.results.measure import Outcome
from logger.results.track_csv import track_csv
from logger.results.trial_json import to_json
from logger.settings import write_whole


def keep(recording: Recording, outcome: Outcome) -> list[str]:
    """Write track.csv and trial.json into the recording's folder; what could not be done comes back as notes."""
    folder = recording.folder
    try:
        if outcome.motion is not None:
            write_whole(folder / "track.csv", track_csv(outcome))
        older = keep_beside(folder / "trial.json", to_json(outcome.trial))
    except OSError as error:
        return [f"{folder}: the results could not be written there ({error.strerror}); they are only shown"]
    return [] if older is None else [f"{folder}: an earlier, different trial.json is kept as {older.name}"]


def keep_beside(path: Path, text: str) -> Path | None:
    """Write `text` to `path`; what stood there before, if it differs, is kept as name-1, name-2 ...

    Returns:
        Where the older text went, or None if there was none or it was the same (then nothing is written).

    Raises:
        OSError: as `logger.settings.write_whole`.
    """
    older = None
    if path.exists():
        if path.read_bytes() == text.encode():
            return None
        older = _set_aside(path)
    write_whole(path, text)
    return older


def _set_aside(path: Path) -> Path:
    """Give the file at `path` a second, numbered name; a hard link, so that there is no moment without it."""
    number = 1
    while True:
        older = path.with_name(f"{path.stem}-{number}{path.suffix}")
        try:
            os.link(path, older)
        except FileExistsError:
            number += 1
        except (PermissionError, NotImplementedError, OSError) as error:
            if isinstance(error, PermissionError) and not os.access(path.parent, os.W_OK):
                raise
            # memory sticks (FAT) know no hard links
            if older.exists():
                number += 1
                continue
            write_whole(older, path.read_text(encoding="utf-8"))
            return older
        else:
            return older
