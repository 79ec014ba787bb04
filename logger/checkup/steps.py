"""How far a rig is calibrated, step by step: what is done, what is next, what is old. Told from the files alone.

So nothing else need be remembered: whoever stops in the middle finds everything where it was, and what somebody did by
hand counts as well. A step is old if something that it rests on was done after it, or if it is older than 90 days.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Literal, TypeAlias

import numpy as np

from calibration.errors import CalibrationError
from calibration.files import CameraCalibration, load_calibration
from calibration.plane_worth import worth
from logger.checkup.kept_views import kept
from logger.checkup.rig_facts import OLD_DAYS, WELL_MM
from logger.config import Rig
from logger.errors import LoggerError
from logger.recording.boat_card import read_boat

Standing: TypeAlias = Literal["done", "old", "to do", "not needed"]
CARDS = "cards"
"""Folder of boats' cards beside the rig file."""
_DATED = re.compile(r"(\d{4}-\d{2}-\d{2}T\d{6})")


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to calibrate."""

    name: str
    standing: Standing
    found: str
    """What there is, in words."""
    pictures: tuple[Path, ...] = ()
    """To look at."""
    how: str = ""
    """What to do, in words."""
    words: tuple[str, ...] = ()
    """The command that does it, without `boatrun`; the word of `blank` among them is to be filled in."""
    blank: str = ""
    """What a person has to fill in; empty if nothing."""
    folder: str = ""
    """Where what is made goes, if a person may name it."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """What the files around a rig hold."""

    path: Path
    rig: Rig
    today: date
    calibration: CameraCalibration | None
    why_not: str
    """Why there is no calibration; empty if there is one."""

    @property
    def folder(self) -> Path:
        return self.path.absolute().parent

    def newest(self, kind: str, file: str) -> Path | None:
        """The newest evidence of that kind, among whole ones."""
        found = [one for one in (self.folder / kind).glob(f"{kind}-*") if (one / file).is_file()]
        return max(found, key=lambda one: (_when(one) or datetime.min, one.name), default=None)

    def after(self, kind: str, file: str, other: Path | None) -> bool:
        """Whether evidence of that kind is newer than the `other`."""
        mine, its = self.newest(kind, file), None if other is None else _when(other)
        return mine is not None and its is not None and (_when(mine) or datetime.min) > its

    def is_stale(self, evidence: Path) -> bool:
        """Whether it is older than OLD_DAYS."""
        made = _when(evidence)
        return made is not None and (self.today - made.date()).days > OLD_DAYS


def _when(folder: Path) -> datetime | None:
    found = _DATED.search(folder.name)
    try:
        return None if found is None else datetime.strptime(found[1], "%Y-%m-%dT%H%M%S")
    except ValueError:
        return None


def steps(path: Path, rig: Rig, *, today: date) -> list[Step]:
    """All steps for the rig of the file at `path`, in the order in which they are done."""
    calibration, why_not = _calibration(path, rig)
    look = _Look(path, rig, today, calibration, why_not)
    every: Sequence[Callable[[_Look], Step]] = (_lens, _plane, _lines, _light, _cards, _gates, _check)
    return [one(look) for one in every]


def next_step(found: Sequence[Step]) -> Step | None:
    """The first that is not done, or is old; None if all is well."""
    return next((step for step in found if step.standing in ("to do", "old")), None)


def _calibration(path: Path, rig: Rig) -> tuple[CameraCalibration | None, str]:
    if rig.camera is None:
        return None, "the rig has no camera"
    file = path.absolute().parent / rig.camera.calibration
    if not file.is_file():
        return None, f"{rig.camera.calibration} is not there"
    try:
        return load_calibration(file), ""
    except CalibrationError as error:
        return None, f"{rig.camera.calibration} cannot be used: {error.mistakes[0]}"


def _lens(look: _Look) -> Step:
    if look.rig.camera is None:
        return Step("lens", "not needed", "the rig has no camera")
    how = (
        "Print the lens board (boatrun print targets --only lens-board), glue it flat, lock the focus, and take 15 "
        "photographs or more of it from all sides, or a film, as large as those of the runs."
    )
    words = ("calibrate", "lens", "PICTURES", "--to", str(look.folder / "lens"))
    newest = look.newest("lens", "lens.toml")
    if newest is not None:
        pictures = tuple(newest.glob("coverage.svg"))
        standing: Standing = "old" if look.is_stale(newest) else "done"
        return Step("lens", standing, f"measured: {_told(look, newest)}", pictures, how, words, "PICTURES")
    if look.calibration is not None and look.calibration.view.variations:
        return Step("lens", "done", f"known from {look.calibration.id}", (), how, words, "PICTURES")
    return Step("lens", "to do", "not measured yet", (), how, words, "PICTURES")


def _plane(look: _Look) -> Step:
    if look.rig.camera is None:
        return Step("plane", "not needed", "the rig has no camera")
    how = (
        "Fill the tank to its mark. Say how: --by rim --marks marks.csv (six marks on the rim or more), --by floor "
        "--dry a.jpg --filled b.jpg --grid ... --depth-mm 98@0,-150 104@1500,-150 101@750,150 (a grid on the floor; "
        "depth read at three places or more), or --by board --marks marks.csv (the floating board at five places or "
        "more); give --picture, or leave it out to take one now; and --check-length of something of known length."
    )
    lens = look.newest("lens", "lens.toml")
    with_lens = () if lens is None else ("--lens", str(lens / "lens.toml"))
    words = ("calibrate", "plane", str(look.path), *with_lens, "OPTIONS", "--write")
    newest = look.newest("plane", "camera.toml")
    pictures = () if newest is None else tuple(sorted([*newest.glob("map.svg"), *newest.glob("seen-*.png")]))
    if look.calibration is None:
        more = f"; {newest.name} was made, but not entered (--write)" if newest is not None else ""
        return Step("plane", "to do", look.why_not + more, pictures, how, words, "OPTIONS")
    standing, said = _plane_worth(look, newest)
    return Step("plane", standing, said, pictures, how, words, "OPTIONS")


def _plane_worth(look: _Look, newest: Path | None) -> tuple[Standing, str]:
    assert look.calibration is not None  # noqa: S101 - the caller has looked
    view = look.calibration.view
    if not view.variations:
        return "to do", f"{look.calibration.id} does not say how well it is known"
    worst = worth(view, np.array(look.rig.tank.outline_mm)).worst_mm
    said = f"{look.calibration.id}: places on the water are good to ± {worst:.1f} mm (95 %) at worst"
    if worst > WELL_MM:
        said += f", more than the {WELL_MM:.0f} mm that a set-up should reach"
    if newest is not None and look.after("lens", "lens.toml", newest):
        return "old", f"{said}; the lens was measured after it"
    if newest is not None and look.is_stale(newest):
        return "old", f"{said}; {_told(look, newest)}"
    return "done", said


def _lines(look: _Look) -> Step:
    how = (
        "Say where start, finish and mark lines, beams and zones are: --place 'start start x=0' typed, or --picture "
        "PHOTO --page click.html to click on a picture first; and --taped, the way from beam to beam, twice."
    )
    words = ("calibrate", "lines", str(look.path), "OPTIONS", "--write")
    rig, newest = look.rig, look.newest("places", "places.toml")
    pictures = () if newest is None else tuple(sorted([*newest.glob("seen.png"), *newest.glob("plan.svg")]))
    roles = {line.role for line in rig.lines}
    named = ", ".join(f"{line.name} (± {2 * line.u_mm:.1f} mm)" for line in rig.lines) or "no lines"
    if "start" not in roles or not roles & {"finish", "mark"}:
        found = f"{named}; a start line and a finish or mark line are wanted"
        return Step("lines", "to do", found, pictures, how, words, "OPTIONS")
    untaped = "; the way from beam to beam is not taped" if rig.gates and rig.gate_distance_mm is None else ""
    if (newest is not None and (newest / "seen.png").exists()) and look.after("plane", "camera.toml", newest):
        return Step("lines", "old", f"{named}; the plane was calibrated after it", pictures, how, words, "OPTIONS")
    return Step("lines", "done", named + untaped, pictures, how, words, "OPTIONS")


def _light(look: _Look) -> Step:
    camera = look.rig.camera
    if camera is None or not look.rig.gates:
        return Step("light", "not needed", "it is for rigs with a camera and gates")
    how = (
        "Put the light where the camera sees it, hands off; it blinks for half a minute, at most three times a second."
    )
    words = ("calibrate", "light", str(look.path), "--write")
    newest = look.newest("light", "light.toml")
    if camera.u_delay_s <= 0:
        why = "the camera's delay was never measured" if newest is None else f"{newest.name} is not entered (--write)"
        if look.rig.light_driver is None:
            why += "; the rig file names no [light_driver]"
        return Step("light", "to do", why, (), how, words)
    said = f"the camera is {1e3 * camera.delay_s:.1f} ± {2e3 * camera.u_delay_s:.1f} ms late"
    if newest is not None and look.is_stale(newest):
        return Step("light", "old", f"{said}; {_told(look, newest)}", (), how, words)
    return Step("light", "done", said, (), how, words)


def _cards(look: _Look) -> Step:
    how = "Measure and weigh each boat, dry; give its nickname. The check boat's card comes first."
    words, where = ("boat", "CARD"), str(look.folder / CARDS)
    found, wanting = [], []
    for path in sorted((look.folder / CARDS).glob("*.toml")):
        if "-before-" in path.name:
            continue
        try:
            boat = read_boat(path)
        except LoggerError:
            wanting.append(f"{path.name} cannot be read")
            continue
        found.append(boat.name)
        if boat.length_mm is None or boat.freeboard_mm is None:
            wanting.append(f"{boat.name} lacks length or freeboard")
    if not found or wanting:
        return Step("cards", "to do", "; ".join(wanting) or f"no cards in {CARDS} yet", (), how, words, "CARD", where)
    said = f"{len(found)} boat{'s' * (len(found) != 1)}: {', '.join(found)}"
    return Step("cards", "done", said, (), how, words, "CARD", where)


def _gates(look: _Look) -> Step:
    if look.rig.camera is None or not look.rig.gates:
        return Step("gates", "not needed", "it is for rigs with a camera and gates")
    how = (
        "Pull a check boat by a thread through all gates, three times or more, slowly and fast; boatrun record each "
        "pull. Give the folders of the recordings."
    )
    words = ("calibrate", "gates", "RECORDINGS", "--rig", str(look.path), "--write")
    newest = look.newest("gates", "gates.toml")
    pictures = () if newest is None else tuple(newest.glob("gates.svg"))
    if newest is None:
        return Step("gates", "to do", "no check boat was pulled through yet", (), how, words, "RECORDINGS")
    said = ", ".join(f"{g.name} {g.offset_mm:+.1f} ± {2 * g.u_offset_mm:.1f} mm" for g in look.rig.gates)
    since = [name for name, file in _BEFORE_GATES if look.after(name, file, newest)]
    if since:
        said += f"; done before the last {' and '.join(since)}"
        return Step("gates", "old", said, pictures, how, words, "RECORDINGS")
    if look.is_stale(newest):
        return Step("gates", "old", f"{said}; {_told(look, newest)}", pictures, how, words, "RECORDINGS")
    return Step("gates", "done", said, pictures, how, words, "RECORDINGS")


_BEFORE_GATES = (("plane", "camera.toml"), ("places", "places.toml"), ("light", "light.toml"))


def _check(look: _Look) -> Step:
    words = ("check", str(look.path), "--keep-view")
    how = "Nobody in the picture; every part is tried, and a picture is kept that tells later if the camera moved."
    if look.rig.camera is None:
        return Step("check", "done", "without a camera there is no view to keep; boatrun check before each session",
                    (), how, words[:2])  # fmt: skip
    if look.calibration is None:
        return Step("check", "to do", "comes last", (), how, words)
    views = kept(look.folder / look.rig.camera.calibration, look.calibration.view)
    if not views:
        return Step("check", "to do", "no view of the rig as it is calibrated is kept", (), how, words)
    return Step(
        "check", "done", f"a view is kept; boatrun check {look.path.name} before each session", (views[0],), how, words
    )


def _told(look: _Look, evidence: Path) -> str:
    made = _when(evidence)
    if made is None:
        return evidence.name
    days = (look.today - made.date()).days
    return f"{evidence.name}, {days} day{'s' * (days != 1)} ago"
