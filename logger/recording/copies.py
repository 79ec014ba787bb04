"""Which copies of a lesson were made: on sticks, as downloads, as packs. They cannot be reached from here any more.

copies.jsonl, beside the rig file, one line a copy: {"at", "lesson", "what", "to"}.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from logger.errors import LoggerError
from logger.recording.line_log import LineLog, read_lines

FILE = "copies.jsonl"


@dataclass(frozen=True, slots=True)
class Copy:
    """One copy that left the rig."""

    at: str
    """Wall time, RFC 3339."""
    lesson: str
    """Name of the lesson's folder."""
    what: str
    """What was copied, in a word: tables, study pack, prints."""
    to: str
    """Where to, as far as the rig knows: a stick's folder, or a download."""


def note_copy(folder: Path, copy: Copy) -> None:
    """Write down that a copy was made; `folder` is the rig file's. StoreError or InputError: it cannot be written."""
    with LineLog(folder / FILE) as log:
        log.append({"at": copy.at, "lesson": copy.lesson, "what": copy.what, "to": copy.to})


def copies(folder: Path, lesson: str | None = None) -> list[Copy]:
    """All copies that were made, or those of one lesson; lines that say nothing are left out."""
    try:
        tables = read_lines(folder / FILE) if (folder / FILE).exists() else []
    except LoggerError:
        return []
    found = [Copy(*(str(table.get(name, "")) for name in ("at", "lesson", "what", "to"))) for table in tables]
    return [one for one in found if lesson is None or one.lesson == lesson]
