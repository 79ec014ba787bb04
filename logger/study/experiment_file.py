"""Plans of experiments as files in a folder `experiments`: beside the rig file, and in the folder of a class."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from logger.errors import InputError, LoggerError, StoreError
from logger.settings import dump, load_table, to_table, write_whole
from logger.study.experiment import FORMAT, Experiment, experiment_of

FOLDER = "experiments"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,40}")


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan, or why it cannot be read."""

    name: str
    """Of its file, without the ending."""
    plan: Experiment | None
    trouble: str = ""


def plans_in(*folders: Path) -> tuple[KeptPlan, ...]:
    """Every plan in the folders `experiments` of these folders, by name; of two of one name the first."""
    found: dict[str, KeptPlan] = {}
    for folder in folders:
        for path in sorted((folder / FOLDER).glob("*.toml")):
            if _NAME.fullmatch(path.stem) and path.stem not in found:
                found[path.stem] = _kept(path)
    return tuple(found[name] for name in sorted(found))


def _kept(path: Path) -> KeptPlan:
    try:
        return KeptPlan(path.stem, read_plan(path))
    except LoggerError as error:
        return KeptPlan(path.stem, None, str(error).replace(f"{path.parent}/", ""))


def read_plan(path: Path) -> Experiment:
    """The plan in a file. InputError or ConfigError: all that is wrong with it."""
    return experiment_of(load_table(path), file=str(path))


def plan_text(plan: Experiment) -> str:
    """A plan as the text of its file."""
    return dump({"format": FORMAT, **to_table(plan)})


def plan_path(folder: Path, name: str) -> Path:
    """Where a plan of that name is kept below `folder`. InputError: it is no such name."""
    if not _NAME.fullmatch(name):
        raise InputError(f"experiment {name[:60]!r}: wanted small letters, digits and hyphens; see the list")
    return folder / FOLDER / f"{name}.toml"


def keep_plan(folder: Path, plan: Experiment, *, name: str = "") -> Path:
    """Write a plan below `folder`, under a name made from its question unless one is given; never over another plan.

    Raises:
        StoreError: it cannot be written.
    """
    stem = name or re.sub(r"[^a-z0-9]+", "-", plan.question.casefold()).strip("-")[:36].strip("-") or "experiment"
    path, number = plan_path(folder, stem), 1
    text = plan_text(plan)
    while path.exists() and path.read_text(encoding="utf-8") != text:
        number += 1
        path = plan_path(folder, f"{stem}-{number}")
    try:
        path.parent.mkdir(exist_ok=True)
        write_whole(path, text)
    except OSError as error:
        raise StoreError(f"{path}: could not be written ({error.strerror}); check the folder") from error
    return path
