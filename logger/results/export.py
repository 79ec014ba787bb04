"""Runs as tidy tables: one thing per row, units in the headers, missing = empty, void rows stay.

Five tables, joined by run_id and by boat and version: runs, boats, tracks, visits, edges. `csvw.py` and `workbook.py`
write them.

Text that a spreadsheet would take for a formula is refused, not mended: it belongs into no table.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from calibration.quantity import Quantity, decimals_for
from logger.config import Boat, Rig, RunCard
from logger.errors import InputError
from logger.records import Edge
from logger.results.columns import COLUMNS, RESULTS, TRACK, Column
from logger.results.trial import Status, Trial
from logger.settings import Text

_TEXT = Text(most=10_000)
_COUNTED: tuple[Status, ...] = ("valid", "freed")

_ABOUT = (
    "run_id", "order_index", "date", "clock_time", "recorded_at", "clock_set_by", "team", "boat", "version", "kind",
    "status", "status_reason", "counted", "end_reason",
)  # fmt: skip
_CONDITIONS = (
    "power", "blowers_count", "fan_setting", "fan_distance_mm", "wind_direction_deg", "cargo_g", "water_depth_mm",
    "gate_distance_mm",
)  # fmt: skip
_REST = ("flags", "note", "simulated", "calibration", "software")
_BOAT_SIZES = ("length_mm", "width_mm", "freeboard_mm", "mass_g")


Kind: TypeAlias = Literal["string", "number", "integer", "boolean", "date", "time", "dateTimeStamp"]
"""What the cells of a column hold, by the names of XML Schema."""


@dataclass(frozen=True, slots=True, eq=False)
class ExportRun:
    """One run with whatever is still known of it."""

    trial: Trial
    status: Status
    """After all corrections."""
    boat: str
    team: str
    status_reason: str = ""
    card: RunCard | None = None
    """None where the recording is gone and only the store remembers the trial."""
    rig: Rig | None = None
    edges: tuple[Edge, ...] = ()
    track: tuple[Mapping[str, str], ...] = ()
    """Rows of the recording's track.csv, as they stand there."""


@dataclass(frozen=True, slots=True)
class Table:
    """One file: its columns and its rows, everything already text."""

    name: str
    title: str
    columns: tuple[Column, ...]
    required: tuple[str, ...]
    key: tuple[str, ...]
    """Columns that together are different in every row; empty: none are."""
    rows: tuple[tuple[str, ...], ...]


def tables_of(runs: Sequence[ExportRun]) -> tuple[Table, ...]:
    """The tables.

    Raises:
        InputError: two different runs have one name, or a text would be taken for a formula.
    """
    names = [run.trial.run_id for run in runs]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise InputError(f"run {twice}: found twice; every run needs a name of its own; leave one of them out")
    tables = (
        _table("runs.csv", "One row per run", _run_columns(), _run_rows(runs), key=("run_id",)),
        _table("boats.csv", "One row per boat and version", _boat_columns(), _boat_rows(runs), key=("boat", "version")),
        _table("tracks.csv", "One row per picture that shows the boat", ("run_id", *TRACK), _track_rows(runs)),
        _table("visits.csv", "Every port, obstacle and ring that a boat came to", _VISITS, _visit_rows(runs)),
        _table("edges.csv", "Every edge of every gate, as it was stamped", _EDGES, _edge_rows(runs)),
    )
    for table in tables:
        _refuse_formulas(table)
    return tables


_EDGES = ("run_id", "t_ns", "gate", "level")
_VISITS = ("run_id", "zone", "zone_kind", "from_ns", "to_ns", "stay_s", "u_stay_s", "chance")


def _table(
    name: str, title: str, columns: Sequence[str], rows: Iterable[Mapping[str, object]], *, key: tuple[str, ...] = ()
) -> Table:
    known = tuple(_column(column) for column in columns)
    written = tuple(tuple(_cell(row.get(column.name), column) for column in known) for row in rows)
    return Table(name, title, known, key or columns[:1], key, written)  # type: ignore[arg-type]


def _column(name: str) -> Column:
    """From the dictionary; u_NAME is the standard uncertainty of NAME there."""
    if name in COLUMNS:
        return COLUMNS[name]
    of = COLUMNS[name.removeprefix("u_")]
    return Column(
        name, of.unit, f"doubt of {of.words}", f"Standard uncertainty of {of.name} (68 %), rig only.", of.decimals
    )


def _run_columns() -> tuple[str, ...]:
    results = [name for result in RESULTS for name in (result, f"u_{result}")]
    results.insert(results.index("u_drift_mm") + 1, "drift_at_least")
    return (*_ABOUT, *_CONDITIONS, "mass_g", "material", *results, *_REST)


def _run_rows(runs: Sequence[ExportRun]) -> Iterator[dict[str, object]]:
    for order, run in enumerate(runs, start=1):
        yield {"order_index": order} | _about(run) | _conditions(run) | _results(run.trial)


def _about(run: ExportRun) -> dict[str, object]:
    trial, card = run.trial, run.card
    row: dict[str, object] = {
        "run_id": trial.run_id,
        "boat": run.boat,
        "team": run.team,
        "kind": trial.kind,
        "status": run.status,
        "status_reason": run.status_reason,
        "counted": run.status in _COUNTED,
        "end_reason": trial.end_reason,
        "flags": "|".join(flag.replace("|", "/") for flag in trial.flags),
        "simulated": trial.simulated,
        "calibration": trial.calibration_id,
        "software": trial.software,
    }
    if card is None:
        return row
    return (
        row
        | _moment(card.recorded_at)
        | {
            "clock_set_by": card.clock_set_by,
            "version": card.boat.version,
            "mass_g": card.boat.mass_g,
            "material": card.boat.material,
            "note": " ".join(card.conditions.notes.split()),
        }
    )


_RFC_3339 = re.compile(r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d)(:\d\d)?(\.\d+)?([Zz]|[+-]\d\d:\d\d)")


def _moment(text: str) -> dict[str, object]:
    """The wall time in three columns; nothing where it is written in another of the many ways of ISO 8601."""
    found = _RFC_3339.fullmatch(text)
    if found is None:
        return {}
    date, minutes, seconds, fraction, offset = found.groups(default="")
    clock = minutes + (seconds or ":00")
    return {"recorded_at": f"{date}T{clock}{fraction}{offset.upper()}", "date": date, "clock_time": clock}


def _conditions(run: ExportRun) -> dict[str, object]:
    row: dict[str, object] = {}
    if run.card is not None:
        known = run.card.conditions
        row = {
            "power": "" if known.power == "unknown" else known.power,
            "blowers_count": known.blowers_count,
            "fan_setting": known.fan_setting,
            "fan_distance_mm": known.fan_distance_mm,
            "wind_direction_deg": known.wind_direction_deg,
            "cargo_g": known.cargo_g,
        }
    if run.rig is not None:
        row |= {"water_depth_mm": run.rig.tank.water_depth_mm, "gate_distance_mm": run.rig.gate_distance_mm}
    return row


def _results(trial: Trial) -> dict[str, object]:
    row: dict[str, object] = {}
    for name, result in trial.results.items():
        row |= {name: result.quantity.value, f"u_{name}": _doubt(result.quantity)}
    if "drift_mm" in trial.results:
        row["drift_at_least"] = trial.results["drift_mm"].at_least
    return row


def _doubt(quantity: Quantity) -> str:
    """To three digits: a doubt must not round to nought."""
    return f"{quantity.u:.{max(decimals_for(quantity.u, 3), 0)}f}" if quantity.u > 0 else "0"


def _boat_columns() -> tuple[str, ...]:
    sizes = [name for size in _BOAT_SIZES for name in (size, f"u_{size}")]
    return ("boat", "version", "team", *sizes, "mast_height_mm", "colour", "material")


def _boat_rows(runs: Sequence[ExportRun]) -> Iterator[dict[str, object]]:
    """As their first run had them; the mass of every run stands in runs.csv as well."""
    boats: dict[tuple[str, int], Boat] = {}
    for run in runs:
        if run.card is not None:
            boats.setdefault((run.card.boat.name, run.card.boat.version), run.card.boat)
    for boat in boats.values():
        yield {
            name: getattr(boat, "name" if name == "boat" else name)
            for name in _boat_columns()
            # the doubt of a size that nobody measured says nothing
            if not name.startswith("u_") or getattr(boat, name[2:]) is not None
        }


def _track_rows(runs: Sequence[ExportRun]) -> Iterator[dict[str, object]]:
    for run in runs:
        for row in run.track:
            yield {"run_id": run.trial.run_id, **row}


def _visit_rows(runs: Sequence[ExportRun]) -> Iterator[dict[str, object]]:
    for run in runs:
        for visit in run.trial.visits:
            yield {
                "run_id": run.trial.run_id, "zone": visit.zone, "zone_kind": visit.kind,
                "from_ns": visit.from_ns, "to_ns": visit.to_ns, "stay_s": (visit.to_ns - visit.from_ns) / 1e9,
                "u_stay_s": (visit.u_from_s**2 + visit.u_to_s**2) ** 0.5, "chance": visit.chance,
            }  # fmt: skip


def _edge_rows(runs: Sequence[ExportRun]) -> Iterator[dict[str, object]]:
    for run in runs:
        for edge in run.edges:
            yield {"run_id": run.trial.run_id, "t_ns": edge.t_ns, "gate": edge.gate, "level": int(edge.blocked)}


_WHOLE = ("order_index", "version", "blowers_count", "level", "t_ns", "from_ns", "to_ns")
_YES_NO = ("counted", "simulated", "drift_at_least")
_MOMENTS: dict[str, Kind] = {"date": "date", "clock_time": "time", "recorded_at": "dateTimeStamp"}


def kind_of(column: Column) -> Kind:
    """What its cells hold."""
    if column.name in _MOMENTS:
        return _MOMENTS[column.name]
    if column.name in _YES_NO:
        return "boolean"
    if column.name in _WHOLE:
        return "integer"
    return "number" if column.unit else "string"


def _cell(value: object, column: Column) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        shown = f"{value:.{column.decimals}f}"
        return shown[1:] if shown.startswith("-") and float(shown) == 0 else shown
    return str(value)


def _refuse_formulas(table: Table) -> None:
    for row in table.rows:
        for column, cell in zip(table.columns, row, strict=True):
            if column.unit == "" and (complaint := _TEXT.complaint(cell)):
                raise InputError(
                    f"{table.name}, {row[0]}, {column.name}: found {cell[:40]!r}; wanted {complaint}; "
                    "change it in the run's recording.toml"
                )
