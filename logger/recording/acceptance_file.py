"""What came of an acceptance, item by item and try by try, as one JSON file; see FORMATS.md."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeAlias

from logger.errors import InputError, StoreError
from logger.settings import write_whole

FORMAT = "boatrun-acceptance/1"
FILE, REPORT = "acceptance.json", "report.pdf"
KIND = "acceptance"
"""Folder of the evidence beside the rig file, and first word of its dated folders' names."""

Verdict: TypeAlias = Literal["pass", "fail"]


@dataclass(frozen=True, slots=True)
class Try:
    """One time that an item was done."""

    item: str
    verdict: Verdict
    found: tuple[str, ...]
    """Sentences, the answer first."""
    cure: str
    at: str
    """Wall time, RFC 3339."""
    evidence: str = ""
    """Folder or file, relative to the rig file's folder."""


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One rig as it stands, and all that was tried of it."""

    rig: str
    rig_file_sha256: str
    """Of the rig file, byte for byte."""
    calibration_sha256: str
    """Of the camera's calibration file; empty for a rig without a camera."""
    software: str
    begun_at: str
    simulated: bool
    items: tuple[str, ...]
    """All that must pass, in order."""
    tries: tuple[Try, ...] = ()

    def last(self, item: str) -> Try | None:
        """The last try of that item; None: not done."""
        return next((one for one in reversed(self.tries) if one.item == item), None)

    def count(self, item: str) -> int:
        """How often it was tried."""
        return sum(one.item == item for one in self.tries)

    @property
    def passed(self) -> bool:
        """Whether every item was done and passed at its last try."""
        lasts = [self.last(item) for item in self.items]
        return bool(lasts) and all(one is not None and one.verdict == "pass" for one in lasts)

    def with_try(self, one: Try) -> Acceptance:
        """The same, and one more try."""
        return replace(self, tries=(*self.tries, one))


def sha256_of(path: Path) -> str:
    """Of the file's bytes, in hexadecimal. InputError: it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); put it there, or correct the rig file") from error


def write_acceptance(folder: Path, acceptance: Acceptance) -> None:
    """Write it into `folder`, whole or not at all. StoreError if that cannot be."""
    table = {"format": FORMAT, **asdict(acceptance), "passed": acceptance.passed}
    try:
        write_whole(folder / FILE, json.dumps(table, indent=1, ensure_ascii=False) + "\n")
    except OSError as error:
        raise StoreError(f"{folder / FILE}: cannot be written ({error.strerror}); free some space") from error


def read_acceptance(folder: Path) -> Acceptance:
    """What stands in `folder`. InputError: it is no such file, or not a whole one."""
    path = folder / FILE
    try:
        table = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(table, dict) or table.pop("format", None) != FORMAT:
            raise ValueError(f"the format is not {FORMAT}")
        table.pop("passed", None)
        tries = tuple(_try(one) for one in table.pop("tries"))
        return Acceptance(**(table | {"items": tuple(table["items"]), "tries": tries}))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}); name the folder of an acceptance") from error
    except (ValueError, TypeError, KeyError) as error:
        raise InputError(
            f"{path}: this is no file of an acceptance ({error}); leave it as it was written, or begin anew"
        ) from error


def _try(table: dict[str, Any]) -> Try:
    if table["verdict"] not in ("pass", "fail"):
        raise ValueError(f"verdict {table['verdict']!r}")
    return Try(**(table | {"found": tuple(table["found"])}))


def to_take_up(below: Path, like: Acceptance) -> Path | None:
    """The newest folder in `below` whose acceptance is of the same rig, files and software as `like`, if any."""
    for folder in sorted(_folders(below), reverse=True):
        try:
            there = read_acceptance(folder)
        except InputError:
            continue
        if _of(there) == _of(like):
            return folder
    return None


def _folders(below: Path) -> Sequence[Path]:
    return [path for path in below.glob(f"{KIND}-*") if (path / FILE).is_file()]


def _of(one: Acceptance) -> tuple[object, ...]:
    return one.rig_file_sha256, one.calibration_sha256, one.software, one.items
