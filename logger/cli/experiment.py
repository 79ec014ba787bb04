"""Plan an experiment, draw the running order, and say what its runs came to.

The plan is a text file: the question, the one thing that is changed, what is held equal. Without recordings the
running order is printed; with a store or measured recordings, the runs at each level, what stands against a
conclusion, and a conclusion that says no more than the runs do.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from logger.results.export import ExportRun
    from logger.study.conclusion import Conclusion
    from logger.study.experiment import Experiment, Row


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan, a .toml file; --new writes one to change")
    parser.add_argument(
        "recordings", nargs="*", type=Path, metavar="RECORDING", help="the folder of a measured recording"
    )  # fmt: skip
    parser.add_argument("--new", action="store_true", help="write a plan to begin with, as a new file")
    parser.add_argument("--store", type=Path, metavar="FILE", help="take every run of this store")
    parser.add_argument("--json", action="store_true", help="print one JSON object, and nothing else")


def run(arguments: argparse.Namespace) -> int:
    """Print the order or the conclusion."""
    from logger.cli.export import exported
    from logger.settings import load_table
    from logger.study.conclusion import conclude
    from logger.study.experiment import experiment_of, running_order

    if arguments.new:
        return _write_new(arguments.plan)
    plan = experiment_of(load_table(arguments.plan), file=str(arguments.plan))
    if not arguments.recordings and arguments.store is None:
        turns = running_order(plan)
        if arguments.json:
            print(json.dumps({"order": [[t.number, t.round, t.boat, t.level] for t in turns]}))
        else:
            print(f"{plan.question}\n{len(turns)} runs; which comes when was drawn by lot, round by round:")
            for turn in turns:
                where = ", ".join(filter(None, (turn.boat, f"{plan.changed.name} {turn.level}")))
                print(f"  {turn.number:3}  round {turn.round}  {where}")
        return 0
    found = conclude(plan, _rows(exported(arguments.store, arguments.recordings)))
    print(_as_json(found) if arguments.json else _told(plan, found))
    return 0


def _rows(runs: Sequence[ExportRun]) -> list[Row]:
    from logger.results.export import tables_of

    table = next(table for table in tables_of(runs) if table.name == "runs.csv")
    return [dict(zip((column.name for column in table.columns), row, strict=True)) for row in table.rows]


def _told(plan: Experiment, found: Conclusion) -> str:
    from logger.results.columns import COLUMNS
    from logger.study import words

    column = COLUMNS[plan.result]
    lines = [plan.question, *([f"Predicted: {plan.prediction}"] if plan.prediction else [])]
    for cell in found.cells:
        where = ", ".join(filter(None, (cell.boat, f"{plan.changed.name} {cell.level}")))
        shown = "  ".join(
            f"{before}{words.with_unit(f'{value:.{column.decimals}f}', column.unit)}"
            for before, values in (("", cell.values), ("at least ", cell.floors))
            for value in values
        )
        lines.append(f"  {where}: {shown or 'no run'}")
    lines += [f"  Look: {warning}" for warning in found.warnings]
    return "\n".join([*lines, found.sentence])


def _as_json(found: Conclusion) -> str:
    content: dict[str, object] = {
        "cells": [
            {"boat": c.boat, "level": c.level, "values": list(c.values), "at_least": list(c.floors)}
            for c in found.cells
        ],
        "warnings": list(found.warnings),
        "conclusion": found.sentence,
        "clear": found.is_clear,
        "changed_with_it": list(found.with_it),
    }
    if found.trend is not None:
        content["cases"] = {
            "through": found.trend.through, "runs_count": found.trend.runs_count,
            "boats_count": found.trend.boats_count, "cut_short_count": found.trend.floors_count,
        }  # fmt: skip
        if found.trend.way is not None:
            content["way"] = {"sign": found.trend.way.sign, "p": found.trend.way.chance}
    if found.line is not None:
        content["line"] = {
            "intercept": found.line.intercept, "slope": found.line.slope, "U_slope": found.line.U_slope,
            "residual": found.line.residual, "count": found.line.count,
        }  # fmt: skip
    if found.judged is not None:
        content["clearly_more"] = [list(pair) for pair in found.judged.more]
    if found.groups is not None:
        content["groups"] = {"F": found.groups.ratio, "p": found.groups.chance, "count": found.groups.count}
    return json.dumps(content, ensure_ascii=False)


_NEW = """format = "boatrun-experiment/1"
question = "Does a heavier boat drift farther?"
prediction = ""          # before the first run
kind = "drift"           # straight, drift, course, rings, distance
result = "drift_mm"      # the number that answers it
held_equal = ["power", "blowers_count", "water_depth_mm"]
boats = []               # more than one: each is compared with itself
repeats = 3
seed = 1                 # another number, another order by lot

[changed]                # one thing only
name = "mass_g"
levels = [50, 100, 150]  # numbers; for words: choices = ["foil", "clay"]
"""


def _write_new(path: Path) -> int:
    from logger.settings import write_whole

    if path.exists():
        raise InputError(f"{path}: there is such a file already; wanted a new one; choose another name")
    write_whole(path, _NEW)
    print(f"{path}: change it, then boatrun experiment {path}")
    return 0
