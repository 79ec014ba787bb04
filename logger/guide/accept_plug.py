"""The item of the pulled plug: a recording that only a power cut ends, and what is there of it after the start."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.checkup.acceptance import LOST_S
from logger.config import CAMERA_SOURCE, GATES_SOURCE

if TYPE_CHECKING:
    from logger.checkup.gate_trials import Judged
    from logger.checkup.machine import Machine
    from logger.config import Rig

Say = Callable[[str], None]
_ENOUGH_S = 2 * LOST_S
"""So long after the first edge and picture the plug may be pulled."""
SILENT_AFTER_S, _PATIENT_S = 5.0, 300.0
"""A source that says nothing for so long is given up; a simulated camera takes the time that it needs to paint."""
_SAY_EVERY_COUNT = 8
"""Signs of life from one word to people to the next."""


def pulled_plug(
    path: Path, rig: Rig, folder: Path, recordings: Path, *, computer: Machine, say: Say
) -> tuple[Judged | str, Path]:
    """Judge a plug that was pulled; else begin a recording that only a pulled plug ends.

    Args:
        path: The rig file.
        rig: As it says.
        folder: Where the evidence is kept.
        recordings: Where recordings go.
        computer: Says whether it was switched off.
        say: Is told what people are to do.

    Returns:
        The verdict, or a sentence that says why there is none; and the recording.
    """
    from logger.checkup import plug
    from logger.recording.recovery import unfinished_name

    boot = plug.boot_id(computer.root)
    begun = plug.begun_in(folder)
    if begun is None or boot == begun.boot_id:
        return _record_until_the_power_goes(path, rig, folder, recordings, boot=boot, say=say)
    witnesses = rig.witnesses.keys()
    judged = plug.judged(folder, begun, boot=boot, has_camera="camera" in witnesses, has_gates="gates" in witnesses)
    plug.over(folder)
    asked = Path(begun.recording)
    return judged, asked if asked.exists() else unfinished_name(asked)


def _record_until_the_power_goes(
    path: Path, rig: Rig, folder: Path, recordings: Path, *, boot: str, say: Say
) -> tuple[str, Path]:
    """Record, with signs of life. If this returns, the plug was not pulled."""
    from logger.checkup import plug
    from logger.config import Boat, RunCard
    from logger.drivers import drivers_of
    from logger.recording.recovery import free_id
    from logger.recording.rig_toml import calibration_of
    from logger.station import rig as station
    from logger.station.line import Plan

    recordings.mkdir(parents=True, exist_ok=True)
    name = free_id(recordings, "pulled-plug")
    to = recordings / name
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    plug.over(folder)
    plug.begin(folder, plug.Begun(str(to.absolute()), boot, now, plug.checksums(recordings)))
    counted = [Counted(driver) for driver in drivers_of(rig, place=str(path))]
    is_live = all(choice.is_live for choice in rig.witnesses.values())
    simulated = rig.simulated or any(choice.is_simulated for choice in rig.witnesses.values())
    card = RunCard(id=name, kind="straight", recorded_at=now, boat=Boat("pulled plug"), simulated=simulated)
    plan = Plan(
        card=card, rig=rig, folder=to, calibration=calibration_of(rig, path), is_live=is_live,
        silent_after_s=SILENT_AFTER_S if is_live else _PATIENT_S,
    )  # fmt: skip
    stop, signs = threading.Event(), plug.Signs(folder)
    life = threading.Thread(target=_give_signs, args=(signs, counted, stop, say), daemon=True)
    life.start()
    before = [(number, signal.signal(number, _as_by_hand)) for number in (signal.SIGTERM, signal.SIGHUP)]
    try:
        station.run(plan, counted)
    except KeyboardInterrupt:
        return "it was stopped by hand; the plug was not pulled", to
    finally:  # which a power cut does not reach: what is left then says so
        stop.set()
        life.join(2.0)
        signs.close()
        plug.over(folder)
        for number, handler in before:
            signal.signal(number, handler)
    return "the recording came to its end before the plug was pulled", to


def _give_signs(signs: Any, counted: Sequence[Counted], stop: threading.Event, say: Say) -> None:
    from logger.checkup.plug import SIGN_EVERY_S, Sign

    names = {one.name for one in counted}
    number = since = 0
    while not stop.wait(SIGN_EVERY_S):
        edges, frames = sum(one.edges_count for one in counted), sum(one.frames_count for one in counted)
        signs.give(Sign(time.monotonic_ns(), edges, frames))
        number += 1
        came = (edges if GATES_SOURCE in names else None, frames if CAMERA_SOURCE in names else None)
        since = since + 1 if 0 not in came else 0
        if number % _SAY_EVERY_COUNT == 0:
            say(told(*came, is_enough=since * SIGN_EVERY_S >= _ENOUGH_S))


def told(edges_count: int | None, frames_count: int | None, *, is_enough: bool) -> str:
    """What people are to do after so many edges and pictures; None: the rig has no gates, or no camera."""
    counted = [(edges_count, "edges"), (frames_count, "pictures")]
    so_far = ", ".join(f"{count} {what}" for count, what in counted if count is not None)
    if edges_count == 0:
        return f"  {so_far} so far: wave a straw through a beam"
    if frames_count == 0:
        return f"  {so_far} so far: wait for the camera"
    if not is_enough:
        return f"  {so_far} so far: a moment yet"
    return f"  {so_far} so far: pull the computer's own plug now{', while you wave' if edges_count else ''}"


def _as_by_hand(*_: object) -> None:
    """A computer that is switched off in good order is no power cut."""
    raise KeyboardInterrupt


class Counted:
    """A driver whose records are counted as they come."""

    def __init__(self, driver: Any) -> None:
        self._driver, self.name = driver, driver.name
        self.edges_count, self.frames_count = 0, 0

    def __enter__(self) -> Counted:
        self._driver.__enter__()
        return self

    def __exit__(self, *error: Any) -> None:
        self._driver.__exit__(*error)

    def self_test(self) -> list[Any]:
        """The driver's own, if it has one."""
        from logger.drivers.interface import SelfTesting

        return self._driver.self_test() if isinstance(self._driver, SelfTesting) else []

    def records(self, stop: Any) -> Iterator[Any]:
        """The driver's records."""
        from logger.records import Edge, Frame

        for record in self._driver.records(stop):
            self.edges_count += isinstance(record, Edge)
            self.frames_count += isinstance(record, Frame)
            yield record
