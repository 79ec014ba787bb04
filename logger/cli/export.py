"""Write tables for spreadsheets and statistics: runs, boats, tracks, visits and edges, and what every column is.

Recordings must have been measured before. From a store come its latest trials with all corrections. Missing values are
empty, void runs stay (the column counted says which count), and what every column means stands in csv-metadata.json.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli.keep import new_folder, refuse_if_used
from logger.errors import InputError
from logger.settings import write_whole

if TYPE_CHECKING:
    from logger.results.export import ExportRun

FORMS = ("csv", "csv-comma", "xlsx")


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "recordings", nargs="*", type=Path, metavar="RECORDING", help="the folder of a measured recording"
    )
    parser.add_argument("--store", type=Path, metavar="FILE", help="take every run of this store")
    parser.add_argument(
        "--as", dest="form", choices=FORMS, default="csv",
        help="csv; csv-comma: as spreadsheets want it where decimals are written with a comma; xlsx: one workbook",
    )  # fmt: skip
    parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="a new or empty folder for the tables")


def run(arguments: argparse.Namespace) -> int:
    """Write the tables and print where they are."""
    if not arguments.recordings and arguments.store is None:
        raise InputError("export: found neither a recording nor a store; give at least one of them (--store FILE)")
    refuse_if_used(arguments.to)
    runs = exported(arguments.store, arguments.recordings)
    write_tables(runs, arguments.to, form=arguments.form)
    print(f"{len(runs)} run{'' if len(runs) == 1 else 's'}: {arguments.to}")
    return 0


def exported(store: Path | None, recordings: Sequence[Path]) -> list[ExportRun]:
    """Every run of a store, and measured recordings."""
    from logger.results.exported import of_recording, of_store

    return [*(of_store(store) if store else ()), *(of_recording(folder) for folder in recordings)]


def write_tables(runs: Sequence[ExportRun], folder: Path, *, form: str = "csv") -> None:
    """Write all tables of `runs` into `folder`, in one of `FORMS`.

    Raises:
        InputError: nothing is written if something is wrong with the runs or the folder.
    """
    from logger.results.exported import written

    made = written(list(runs), form)
    new_folder(folder)
    for name, content in made.items():
        write_whole(folder / name, content)
