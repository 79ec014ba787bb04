"""A station to practise with: a simulated tank that is there all the time, an invented class, the pages of a real one.

The tank, its boats and what goes wrong in it are made up; the devices are simulated, everything behind them is what a
real lesson uses. All of it is marked as simulated.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from logger.cli.regatta import CONDITIONS, TANK
from logger.cli.serve import HERE
from logger.config import Boat, DriverChoice, Rules
from logger.errors import InputError
from logger.lesson.folder import LessonFolder, lessons
from logger.lesson.plan import LessonPlan, Team
from logger.recording.boat_card import write_boat
from logger.recording.rig_toml import rig_text
from logger.settings import write_whole
from logger.simulator.live import SimulatedTank

TITLE = "Lantern Quay practice"
SEED = 51
_CREWS: tuple[tuple[str, Boat, float], ...] = (
    ("Teasel", Boat(name="Bramble", length_mm=178, width_mm=62, freeboard_mm=20, mass_g=64, colour="red"), 345),
    ("Marrow", Boat(name="Pip", length_mm=205, width_mm=75, freeboard_mm=24, mass_g=118, colour="green"), 340),
    ("Thimble", Boat(name="Button", length_mm=131, width_mm=66, freeboard_mm=18, mass_g=49, colour="blue"), 290),
    ("Sorrel", Boat(name="Clover", length_mm=160, width_mm=60, freeboard_mm=17, mass_g=55, colour="yellow"), 372),
    ("Quill", Boat(name="Feather", length_mm=190, width_mm=70, freeboard_mm=22, mass_g=80, colour="black"), 318),
    ("Pebble", Boat(name="Skim", length_mm=150, width_mm=64, freeboard_mm=19, mass_g=60, colour="red"), 300),
    ("Burdock", Boat(name="Hitch", length_mm=184, width_mm=68, freeboard_mm=21, mass_g=73, colour="blue"), 356),
    ("Fennel", Boat(name="Frond", length_mm=170, width_mm=63, freeboard_mm=20, mass_g=66, colour="green"), 331),
)
"""Nickname of a team, its boat, and the speed that it would reach in the end, mm/s."""
MISHAPS: Mapping[str, str] = {
    "r2": "early",
    "r4": "beam_blocked",
    "r7": "stuck",
    "r11": "hand",
    "r15": "camera_unplugged",
    "r17": "turned_back",
    "r19": "touched",
    "r21": "broken_twice",
}
"""In these attempts something goes wrong, so that it can be practised; "early" only in a lesson that is begun by the
word."""


def practise(folder: Path, *, port: int) -> int:
    """Make the station in `folder`, or go on with the one there, and serve its pages until Ctrl-C."""
    from logger.web import server

    rig_file = station(folder)
    with server.opened(HERE, port) as at:
        print(
            f"{TITLE} (invented, simulated), in {folder}\nwall board: http://{HERE}:{at.getsockname()[1]}/board\n"
            f"teacher:    http://{HERE}:{at.getsockname()[1]}/lesson   (Ctrl-C ends it; start again to go on)",
            flush=True,
        )
        server.serve(rig_file, at, pin=None, now=lambda: datetime.now().astimezone())
    return 0


def station(folder: Path, *, mishaps: Mapping[str, str] = MISHAPS, plan: LessonPlan | None = None) -> Path:
    """A simulated rig with an invented class in `folder`: its rig file. What is there already stays as it is.

    Raises:
        InputError: there is something else in it, or it cannot be made.
    """
    rig_file = folder / "rig.toml"
    if rig_file.is_file():
        return rig_file
    try:
        if folder.exists() and any(folder.iterdir()):
            raise InputError(f"{folder}: found files of something else in it; choose another name with --to")
        (folder / "cards").mkdir(parents=True)
        _write_rig(rig_file, mishaps)
        for _, boat, _ in _CREWS:
            write_boat(folder / "cards" / f"{boat.name.lower()}.toml", boat, at=datetime.now().astimezone())
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror}); choose another name") from error
    if not lessons(folder / "lessons"):
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        LessonFolder.create(folder / "lessons", plan or practice_plan(), at=now).close()
    return rig_file


def practice_plan() -> LessonPlan:
    """Eight teams, three straight runs each."""
    teams = tuple(Team(number, nickname, boat) for number, (nickname, boat, _) in enumerate(_CREWS, start=1))
    return LessonPlan(
        TITLE, "straight", teams, repeats=3, order="balanced", rules=Rules(time_cap_s=30.0), conditions=CONDITIONS,
        shows_ranking=True, simulated=True,
    )  # fmt: skip


def _write_rig(rig_file: Path, mishaps: Mapping[str, str]) -> None:
    wishes: dict[str, Any] = dict(TANK)
    tank = SimulatedTank(kind="straight", seed=SEED, rig_errors=False, **wishes)
    speeds = {boat.name: speed for _, boat, speed in _CREWS}
    options = {"seed": SEED, "wishes": wishes, "speeds_mm_per_s": speeds, "mishaps": dict(mishaps)}
    camera = tank.rig.camera
    assert camera is not None  # noqa: S101 - every simulated tank has one
    rig = replace(
        tank.rig,
        name="simulated quay tank",
        gates_driver=DriverChoice("simulated_live_gates", options),
        camera=replace(camera, driver=DriverChoice("simulated_live_camera", options)),
        panel_driver=None,
        simulated=True,
    )
    write_whole(rig_file.parent / camera.calibration, tank.camera_text)
    write_whole(rig_file, rig_text(rig))
