"""Entering what was calibrated into a rig file: comments stay, and the file as it was is kept under its date.

Lines, gates and zones are known by their names: one of the same name is set anew, others are added behind the last.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit

from logger import settings
from logger.config import Gate, Line, Zone
from logger.errors import StoreError
from logger.recording.rig_toml import rig_from_table

_SHAPES = {"lines": ("a_mm", "b_mm", "x_mm"), "gates": (), "zones": ("outline_mm", "middle_mm", "radius_mm")}
"""What says where a thing is; what is not written anew of these is taken away."""
_KEPT_COUNT = 1000


@dataclass(frozen=True, slots=True)
class Change:
    """What is to stand in the rig file."""

    lines: Sequence[Line] = ()
    gates: Sequence[Gate] = ()
    zones: Sequence[Zone] = ()
    entries: Mapping[str, float] | None = None
    """Name at the top of the file, such as gate_distance_mm, -> number in the unit that the name says."""
    because: str = ""
    """Where the evidence is; written beside each place as a comment."""


def change_rig(path: Path, change: Change, *, at: datetime) -> Path:
    """Enter `change` into the rig file at `path`; the file as it was is kept beside it under the date `at`.

    Returns:
        Where the older file is kept.

    Raises:
        ConfigError: it would say something wrong; nothing was changed.
        StoreError: it could not be written; the old file still stands.
    """
    settings.load_table(path)  # says what is wrong with it in words
    old = path.read_bytes()
    document = tomlkit.parse(old.decode("utf-8-sig").replace("\r\n", "\n"))
    for name, value in (change.entries or {}).items():
        document[name] = value
    for table, things in (("lines", change.lines), ("gates", change.gates), ("zones", change.zones)):
        for thing in things:
            _set(document, table, settings.to_table(thing), change.because)
    text = tomlkit.dumps(document)
    rig_from_table(tomllib.loads(text), file=str(path))
    try:
        older = keep_dated(path, old, at=at)
        settings.write_whole(path, text)
    except OSError as error:
        problem = f"{path}: could not be written ({error.strerror}); free some space or check permissions"
        raise StoreError(problem) from error
    return older


def keep_dated(path: Path, content: bytes, *, at: datetime) -> Path:
    """Write what stood in `path` beside it as NAME-before-DATE, under a name that nothing has yet.

    Raises:
        OSError: it cannot be written.
    """
    for number in range(1, _KEPT_COUNT):
        more = "" if number == 1 else f"-{number}"
        older = path.with_name(f"{path.stem}-before-{at:%Y-%m-%dT%H%M%S}{more}{path.suffix}")
        try:
            with older.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        except FileExistsError:
            continue
        return older
    raise FileExistsError(f"{older}: a thousand copies of this second are there already")


def _set(document: Any, name: str, values: Mapping[str, Any], because: str) -> None:
    if name not in document:
        document[name] = tomlkit.aot()
    tables = document[name]
    if not isinstance(tables, tomlkit.items.AoT):  # written as one inline list: nothing can be said beside its parts
        document[name] = tables = _unrolled(tables)
    table = next((t for t in tables if t.get("name") == values["name"]), None)
    if table is None:
        table = tomlkit.table()
        tables.append(table)
        table = tables[-1]
    for shape in _SHAPES[name]:
        if shape in table and shape not in values:
            del table[shape]
    for key, value in values.items():
        table[key] = value
    if because:
        table[list(values)[-1]].comment(because)


def _unrolled(tables: Any) -> Any:
    rolled = tomlkit.aot()
    for one in tables:
        table = tomlkit.table()
        table.update(one)
        rolled.append(table)
    return rolled
