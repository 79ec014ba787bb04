"""The evidence of a light sync: a dated folder of plain tables from which the delay can be worked out again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from calibration.light import Glimpses
from calibration.light_pattern import Switches
from logger import settings
from logger.config import NotNegative, Word
from logger.errors import InputError, StoreError
from logger.recording.rig_toml import without_format
from logger.recording.tables import Columns, Row, rows

LIGHT_FORMAT = "boatrun-light/1"
SWITCHES_COLUMNS = Columns(("before_ns", "after_ns", "on"))
BRIGHTNESS_COLUMNS = Columns(("t_ns", "exposure_ns", "line_ns", "brightness", "clipped"))
_MOST_SHORT_NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class LightNotes:
    """What light.toml says."""

    made_at: Word
    """Wall time, RFC 3339."""
    row_px: NotNegative
    """Row of the light in the picture."""
    u_row_px: NotNegative = 0.3
    rig: Word = ""
    camera: Word = ""
    """Kind of the camera's driver."""
    light: Word = ""
    """Kind of the light's driver."""
    software: Word = ""
    simulated: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LightEvidence:
    """A session as it was kept."""

    notes: LightNotes
    switches: Switches
    glimpses: Glimpses


def new_evidence_folder(below: Path, at: datetime, *, kind: str = "light") -> Path:
    """Make a new folder named after `kind` and `at` in `below`, which is made too; never one that is there already.

    Raises:
        StoreError: it cannot be made.
    """
    stem = f"{kind}-{at:%Y-%m-%dT%H%M%S}"
    try:
        below.mkdir(parents=True, exist_ok=True)
        for number in range(1, 1000):
            folder = below / (stem if number == 1 else f"{stem}-{number}")
            try:
                folder.mkdir()
            except FileExistsError:
                continue
            return folder
    except OSError as error:
        raise StoreError(
            f"{below}: no folder can be made there ({error.strerror}); choose another with --to"
        ) from error
    raise StoreError(f"{below}: a thousand folders {stem} are there already; choose another with --to")


def write_light(folder: Path, evidence: LightEvidence) -> None:
    """Write the three files into `folder`. StoreError if they cannot be written."""
    switches, seen = evidence.switches, evidence.glimpses
    turned = zip(switches.before_ns.tolist(), switches.after_ns.tolist(), switches.on.astype(int).tolist(), strict=True)
    shown = zip(
        seen.t_ns.tolist(), seen.exposure_ns.tolist(), seen.line_ns.tolist(), seen.brightness.tolist(),
        seen.clipped.astype(int).tolist(), strict=True,
    )  # fmt: skip
    try:
        settings.write_whole(folder / "switches.csv", _table(SWITCHES_COLUMNS, turned))
        settings.write_whole(folder / "brightness.csv", _table(BRIGHTNESS_COLUMNS, shown))
        notes = {"format": LIGHT_FORMAT, **settings.to_table(evidence.notes)}
        settings.write_whole(folder / "light.toml", settings.dump(notes))
    except OSError as error:
        raise StoreError(f"{folder}: the evidence could not be written ({error.strerror}); free some space") from error


def _table(columns: Columns, lines: object) -> str:
    body = "".join(",".join(_cell(value) for value in line) + "\n" for line in lines)  # type: ignore[attr-defined]
    return ",".join(columns.needed) + "\n" + body


def _cell(value: float) -> str:
    return f"{value:.4f}" if isinstance(value, float) else str(value)


def read_light_evidence(folder: Path) -> LightEvidence:
    """The session kept in `folder`.

    Raises:
        InputError: it is no such folder, or a file in it is wrong.
    """
    if not (folder / "light.toml").is_file():
        raise InputError(
            f"{folder}: there is no light.toml; wanted a folder that `boatrun calibrate light` has written"
        )
    file = str(folder / "light.toml")
    table = without_format(settings.load_table(folder / "light.toml"), LIGHT_FORMAT, file=file)
    notes = settings.read(LightNotes, table, file=file)
    return LightEvidence(notes, _switches(folder / "switches.csv"), _glimpses(folder / "brightness.csv", notes))


def _refuse_torn(sentence: str) -> None:
    raise InputError(f"{sentence}; the copy is not whole; copy the folder again")


def _switches(path: Path) -> Switches:
    found = [(row.whole("before_ns"), row.whole("after_ns"), row.whole("on", most=1)) for row in _rows(path)]
    before, after, on = (np.array(column, np.int64) for column in (zip(*found, strict=True) if found else ([],) * 3))
    return Switches(before, after, on.astype(bool))


def _rows(path: Path) -> list[Row]:
    columns = SWITCHES_COLUMNS if path.name == "switches.csv" else BRIGHTNESS_COLUMNS
    return list(rows(path, columns, _refuse_torn))


def _glimpses(path: Path, notes: LightNotes) -> Glimpses:
    found = _rows(path)

    def whole(column: str, most: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.array([row.whole(column, most=most) for row in found], np.int64)

    return Glimpses(
        t_ns=np.array([row.whole("t_ns") for row in found], np.int64),
        exposure_ns=whole("exposure_ns", _MOST_SHORT_NS),
        line_ns=whole("line_ns", _MOST_SHORT_NS),
        brightness=np.array([_number(row) for row in found], np.float64),
        clipped=whole("clipped", 1).astype(bool),
        row_px=notes.row_px,
        u_row_px=notes.u_row_px,
    )


def _number(row: Row) -> float:
    try:
        value = float(row.cells["brightness"])
    except ValueError:
        raise row.refusal("brightness", "a number") from None
    if not np.isfinite(value):
        raise row.refusal("brightness", "a finite number")
    return value
