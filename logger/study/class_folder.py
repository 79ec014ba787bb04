"""The folder of a class, as a lesson left it: every run as it stands now, ready to be drawn. No video is looked at.

It holds `trials.sqlite` and the folders of the recordings; whatever else lies there is left alone. A recording that is
gone or damaged shuts nobody out: the class opens, and says which run is missing and why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from logger.config import Rig, RunCard
from logger.errors import InputError, LoggerError
from logger.recording.card_toml import read_card
from logger.recording.rig_toml import read_rig
from logger.results.store import Store, Stored
from logger.results.trial import Trial
from logger.study.experiment_file import KeptPlan, plans_in
from logger.study.kept_track import Floats, read_track, series_of_track
from logger.study.leaf import Run
from logger.study.series import zero_of
from logger.study.tongue import _

STORE = "trials.sqlite"
COUNTED = ("valid", "freed")
_TOLD = 3
"""So many reasons are enough where nothing can be read."""


@dataclass(frozen=True, slots=True, eq=False)
class ClassRun:
    """One run of a class."""

    run: Run
    team: str
    """Nickname; that of the boat where the team has none."""
    number: int
    """Place in the order in which the runs were made, from 1."""
    reason: str
    """Why somebody changed its status; empty if nobody did."""
    folder: Path | None = None
    """Where its recording is."""
    trouble: str = ""
    """Why its track cannot be drawn although one was kept; empty if nothing is wrong with it."""

    @property
    def id(self) -> str:
        """Name of the run."""
        return self.run.trial.run_id

    @property
    def counts(self) -> bool:
        """Whether it is in means and comparisons."""
        return self.run.trial.status in COUNTED

    @property
    def boat(self) -> str:
        """The boat's nickname; that of a rebuilt one with its version."""
        card = self.run.card.boat
        return card.name if card.version == 1 else f"{card.name} {card.version}"


@dataclass(frozen=True, slots=True)
class MissingRun:
    """A run that the store remembers, but of which the recording is gone or cannot be read."""

    trial: Trial
    """As it was measured, with its status of now."""
    team: str
    boat: str
    why: str
    """A sentence."""

    @property
    def id(self) -> str:
        """Name of the run."""
        return self.trial.run_id


@dataclass(frozen=True, slots=True, eq=False)
class Class:
    """All runs of a class, at least one, in the order in which they were made."""

    name: str
    runs: tuple[ClassRun, ...]
    missing: tuple[MissingRun, ...] = ()
    """Runs that cannot be shown; they are told and counted, and in no mean."""
    folder: Path | None = None
    """Where it was read from."""
    plans: tuple[KeptPlan, ...] = ()
    """Its experiments."""

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of run that there are, in order of appearance."""
        return tuple(dict.fromkeys(one.run.trial.kind for one in self.runs))

    @property
    def teams(self) -> tuple[str, ...]:
        """Nicknames in order of appearance."""
        return tuple(dict.fromkeys(one.team for one in self.runs))

    @property
    def is_simulated(self) -> bool:
        """Whether any of it was invented."""
        return any(one.run.trial.simulated for one in self.runs)

    @property
    def date(self) -> str:
        """Day of the first run, as written on its card."""
        return self.runs[0].run.card.recorded_at.partition("T")[0]

    def of(self, *, kind: str = "", team: str = "") -> tuple[ClassRun, ...]:
        """Runs of that kind and that team; of all where none is named."""
        return tuple(r for r in self.runs if kind in ("", r.run.trial.kind) and team in ("", r.team))

    def run(self, run_id: str) -> ClassRun | None:
        """The run of that name, or None."""
        return next((one for one in self.runs if one.id == run_id), None)


def is_class_folder(folder: Path) -> bool:
    """Whether a lesson was kept there."""
    return (folder / STORE).is_file()


def read_class(folder: Path, *, name: str = "", plans_beside: Sequence[Path] = ()) -> Class:
    """Every run of the class in `folder`, and its experiments.

    Args:
        folder: as a lesson or a demo left it.
        name: what it is called; the folder's name if none is given.
        plans_beside: further folders in which plans of experiments are kept; those of the class go before them.

    Raises:
        InputError: there is no such class, no run in it, or none of which the recording can be read.
        StoreError: the store cannot be read.
    """
    if not is_class_folder(folder):
        raise InputError(f"{folder}: there is no {STORE} in it; give the folder that a lesson or a demo has left")
    with Store(folder / STORE, read_only=True) as store:
        kept = store.runs()
    if not kept:
        raise InputError(f"{folder}: its store holds no run yet; measure a recording first")
    rigs: dict[bytes, Rig] = {}
    read: list[ClassRun] = []
    missing: list[MissingRun] = []
    for stored in kept:
        try:
            read.append(_read(folder, stored, rigs))
        except LoggerError as error:
            trial = replace(stored.trial, status=stored.status)
            missing.append(MissingRun(trial, stored.team or stored.boat, stored.boat, _inside(str(error), folder)))
    if not read:
        told = " | ".join(one.why for one in missing[:_TOLD])
        raise InputError(f"{folder}: no recording of its {len(missing)} runs can be read: {told}")
    read.sort(key=lambda one: (one.run.card.recorded_at, one.id))
    runs = tuple(replace(one, number=number) for number, one in enumerate(read, start=1))
    plans = plans_in(folder, *plans_beside)
    return Class(name or folder.resolve().name, runs, tuple(missing), folder, plans)


def _read(folder: Path, stored: Stored, rigs: dict[bytes, Rig]) -> ClassRun:
    """One run; `rigs` are those read before, by the bytes of their file, as a class has mostly one.

    Raises:
        LoggerError: its card or its rig file is gone or damaged. A track can be missed: the trial was measured.
    """
    place = _place(folder, stored)
    written = _bytes(place / "rig.toml")
    card, rig = read_card(place / "recording.toml"), rigs.get(written) or read_rig(place / "rig.toml")
    rigs[written] = rig
    trial = replace(stored.trial, status=stored.status)
    card = _as_decided(card, stored)
    columns, trouble = _track(place / "track.csv", trial)
    series = None if columns is None else series_of_track(columns, trial, rig, card.boat)
    run = Run(card=card, rig=rig, trial=trial, series=series, zero_ns=_zero_ns(trial, rig, columns))
    team = stored.team or card.boat.team or card.boat.name
    return ClassRun(run, team, 0, _reason(stored), place, _inside(trouble, folder))


def _inside(text: str, folder: Path) -> str:
    """The sentence without the way to the class folder, which may tell whose computer it lies on."""
    for place in {str(folder), str(folder.resolve())}:
        text = text.replace(f"{place}/", "").removeprefix(f"{place}: ")
    return text


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: it cannot be read ({error.strerror}); put it back") from error


def _track(path: Path, trial: Trial) -> tuple[dict[str, Floats] | None, str]:
    """The track, and why there is none although the camera saw one."""
    try:
        columns = read_track(path)
    except InputError as error:
        return None, str(error)
    if columns is None and any("camera" in found.witness for found in trial.results.values()):
        return None, f"{path}: it is gone, though the camera has seen this run; put it back, or measure again"
    return columns, ""


def _place(folder: Path, stored: Stored) -> Path:
    """Where the recording is: where the class folder is now first, as it may have been carried elsewhere."""
    for place in (folder / "recordings" / stored.folder.name, folder / stored.folder.name, stored.folder):
        if (place / "recording.toml").is_file():
            return place
    raise InputError(f"{folder}: the recording {stored.folder.name} of run {stored.trial.run_id} is gone; put it back")


def _as_decided(card: RunCard, stored: Stored) -> RunCard:
    """The card, with the boat that the run was given to later."""
    if not stored.boat or stored.boat == card.boat.name:
        return card
    return replace(card, boat=replace(card.boat, name=stored.boat, team=stored.team))


def _zero_ns(trial: Trial, rig: Rig, columns: dict[str, Floats] | None) -> int:
    zero_ns, _ = zero_of(trial, rig, None)
    return int(columns["t_ns"][0]) if columns is not None and not zero_ns else zero_ns


def _reason(stored: Stored) -> str:
    changes = [c for c in stored.corrections if c.change != "reassigned"]
    return changes[-1].reason if changes else ""


def names_of(runs: Sequence[ClassRun]) -> list[str]:
    """What each run is called on pages: team and which of its runs of that kind, such as "Team Teasel, run 2"."""
    counted: dict[tuple[str, str], int] = {}
    told = []
    for one in runs:
        key = (one.team, one.run.trial.kind)
        counted[key] = counted.get(key, 0) + 1
        told.append(_("{team}, run {n}").format(team=one.team, n=counted[key]))
    return told
