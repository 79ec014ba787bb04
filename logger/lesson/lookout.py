"""The rig between two runs: are the beams clear, is the water calm, whose tag lies in it, are all devices there?

Nothing is recorded here. Each device is opened by itself, so that one that is missing hides none of the others; it is
tried again every few seconds.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calibration.errors import CalibrationError
from calibration.files import load_view
from calibration.waterplane import View
from logger.config import Rig
from logger.drivers.interface import Driver, Panel, SelfTesting
from logger.errors import LoggerError
from logger.lesson.board import BeamSeen
from logger.lesson.crew import Seen
from logger.records import Edge, Fault, Frame, Key, KeyName, Quiet, Record
from logger.vision.calm import Calm
from logger.vision.tag.reader import Options, Reader

log = logging.getLogger(__name__)

AGAIN_S = 5.0
"""So often a device that could not be opened is tried again."""
TAG_EVERY_NS = 1_000_000_000
_STOP_S = 15.0
"""So long the devices are waited for: they are opened anew for the run, and a camera that is just being opened can be
neither hurried nor opened twice."""


@dataclass(slots=True)
class _Known:
    """What is known so far; guarded by the lookout's lock."""

    beams: dict[str, BeamSeen] = field(default_factory=dict)
    troubles: dict[str, str] = field(default_factory=dict)
    tag_number: int | None = None
    tag_looked_ns: int = 0


class Lookout:
    """Watches the devices of one rig until it is told to stop."""

    def __init__(
        self,
        rig: Rig,
        drivers: Sequence[Driver[Any]],
        *,
        rig_file: Path,
        tell: Callable[[Seen], None],
        pressed: Callable[[KeyName], None],
        pictured: Callable[[Frame], None] = lambda _: None,
    ) -> None:
        """Open nothing yet.

        Args:
            rig: as its file says.
            drivers: its devices, not opened.
            rig_file: where the rig's file lies, and the calibration that it names.
            tell: is told what is seen, whenever that changes.
            pressed: is told of the rig's buttons.
            pictured: is given every picture.
        """
        self._drivers, self._tell, self._pressed, self._pictured = drivers, tell, pressed, pictured
        self._lock = threading.Lock()
        self._known = _Known(beams={gate.name: "unknown" for gate in rig.gates})
        self._told: Seen | None = None
        view = _view(rig, rig_file)
        self._calm = None if view is None else Calm(view, rig.tank)
        self._reader = Reader(Options(enlarged_count=2))

    def watch(self, stop: threading.Event) -> None:
        """Watch until `stop` is set; then every device is closed."""
        is_over = threading.Event()  # stays set, for a device that is late, when `stop` is used again
        threads = [
            threading.Thread(target=self._attend, args=(driver, is_over), name=f"lookout {driver.name}", daemon=True)
            for driver in self._drivers
        ]
        for thread in threads:
            thread.start()
        stop.wait()
        is_over.set()
        until_s = time.monotonic() + _STOP_S
        for thread in threads:
            thread.join(max(0.0, until_s - time.monotonic()))
            if thread.is_alive():
                log.warning("%s did not stop within %g s", thread.name, _STOP_S)

    def _attend(self, driver: Driver[Any], stop: threading.Event) -> None:
        """One device, opened again and again while it fails."""
        while not stop.is_set():
            try:
                with ExitStack() as opened:
                    opened.enter_context(driver)
                    self._test(driver)
                    for record in driver.records(stop):
                        self._take(driver.name, record)
                    if not stop.is_set():
                        self._say_trouble(driver.name, f"{driver.name}: nothing more comes from it")
            except LoggerError as error:
                self._say_trouble(driver.name, str(error))
            except Exception as error:
                log.exception("lookout: %s", driver.name)
                self._say_trouble(driver.name, f"{driver.name} failed ({type(error).__name__}: {error})")
            stop.wait(AGAIN_S)

    def _test(self, driver: Driver[Any]) -> None:
        findings = driver.self_test() if isinstance(driver, SelfTesting) else []
        odd = [f"{f.part}: {f.found}; {f.cure}" for f in findings if f.health != "well"]
        self._say_trouble(driver.name, " | ".join(odd))
        if isinstance(driver, Panel):
            driver.show("ready")

    def _say_trouble(self, name: str, sentence: str) -> None:
        with self._lock:
            self._known.troubles[name] = " ".join(sentence.split())
        self._tell_if_new()

    def _take(self, name: str, record: Record) -> None:
        match record:
            case Quiet():
                self._heard(name)
            case Edge():
                with self._lock:
                    self._known.beams[record.gate] = "blocked" if record.blocked else "clear"
            case Frame():
                self._pictured(record)
                self._look(record)
            case Key():
                self._pressed(record.key)
            case Fault():
                self._say_trouble(name, f"{record.what}; {record.cure}")
            case _:
                return
        self._tell_if_new()

    def _heard(self, name: str) -> None:
        """The gates live: a beam of which nothing was heard is clear, as a broken one is told of at the start."""
        if name != "gates":
            return
        with self._lock:
            for gate, how in self._known.beams.items():
                if how == "unknown":
                    self._known.beams[gate] = "clear"

    def _look(self, frame: Frame) -> None:
        if self._calm is None or not self._calm.wants(frame.t_ns):
            return
        self._calm.feed(frame)
        if frame.t_ns - self._known.tag_looked_ns < TAG_EVERY_NS:
            return
        grey = frame.image if frame.image.ndim == 2 else cv2.cvtColor(frame.image, cv2.COLOR_BGR2GRAY)
        numbers = {sign.number for sign in self._reader.read(np.asarray(grey, np.uint8))}
        with self._lock:
            self._known.tag_looked_ns = frame.t_ns
            self._known.tag_number = numbers.pop() if len(numbers) == 1 else None

    def _tell_if_new(self) -> None:
        with self._lock:
            known = self._known
            seen = Seen(
                beams=dict(known.beams),
                water="unknown" if self._calm is None else self._calm.water,
                tag_number=known.tag_number,
                troubles=tuple(one for one in known.troubles.values() if one),
            )
            if seen == self._told:
                return
            self._told = seen
        self._tell(replace(seen))


def _view(rig: Rig, rig_file: Path) -> View | None:
    if rig.camera is None or rig.camera.driver is None:
        return None
    try:
        return load_view(rig_file.parent / rig.camera.calibration)
    except (CalibrationError, OSError):
        return None  # told when a run is to begin; the beams can be watched without it
