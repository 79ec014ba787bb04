"""Is the rig fit to run? Everything that can be told without a run, part by part, as findings.

The rig file first, then its calibration, then each device that it names, one after the other: opened, asked for its own
self-test, listened to for a moment, closed again. Nothing that the rig file does not name is opened. Last the computer
and the disk. A part that hangs or fails is a finding of its own; the others are looked at all the same.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration.errors import CalibrationError
from calibration.files import CameraCalibration, load_calibration
from calibration.lens import Floats
from calibration.plane_worth import u_places_mm
from logger import settings
from logger.checkup import kept_views, machine, picture_changes, rig_facts, room
from logger.checkup.beams import Beams
from logger.checkup.camera_look import NONE_AFTER_S, CameraLook, Pictures
from logger.checkup.hearing import Hearing
from logger.checkup.machine import Machine
from logger.checkup.visit import Until, listen, of_error, visit
from logger.config import CAMERA_SOURCE, GATES_SOURCE, PANEL_SOURCE, DriverChoice, Rig
from logger.drivers import open_driver
from logger.drivers.interface import Finding, Light, Scale, SelfTesting
from logger.errors import ConfigError, DriverError, InputError, StoreError
from logger.recording.rig_toml import read_rig
from logger.records import Edge, Frame, Quiet

ALL_S = 14.0
"""How long all devices together may take, hands in beams apart."""
GATES_S, CAMERA_S, OTHER_S = 6.0, 10.0, 4.0
"""How long each may take: opening, its self-test (two seconds at most), listening, closing."""
HOPELESS_S = 1.0
"""How long pictures are waited for after a self-test that found something wrong."""
PATIENT_S = 60.0
"""An invented or recorded camera takes the time that it needs to paint or to read."""
IDLE_S = 0.8
"""How long gates and panel are listened to."""
LIT_S = 0.3
ABOUT_MM, LEAST_ALLOWED_MM = 2.0, 1.0
"""What a camera may have moved where the calibration states no doubt; and where it states hardly any, since a line is
not better known than that."""
CLOCKS_OFF_NS = 5_000_000_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be checked."""

    rig_file: Path
    recordings: Path | None = None
    """Where recordings go; None: the rig file's folder."""
    beams: bool = False
    """Somebody passes a hand through each beam."""
    wait_s: float = 60.0
    """How long for that, at most."""
    keep_view: bool = False
    """Keep a picture with which later checks are compared."""
    depth_mm: float | None = None
    """What a ruler in the water shows now."""


def check(
    wanted: Wanted,
    *,
    computer: Machine | None = None,
    say: Callable[[str], None] = lambda _: None,
    opener: Callable[..., Any] = open_driver,
) -> Iterator[Finding]:
    """Look at everything and yield what is found as it is found, part by part.

    Args:
        wanted: What to check.
        computer: The computer to ask; None: this one.
        say: Is told what somebody at the rig is to do, and what came of it.
        opener: Makes a driver of its kind, options and name.

    Raises:
        InputError: there is no rig file at that place.
    """
    computer = computer or Machine()
    busy = list(machine.findings(computer))  # before we make it busy ourselves
    pictures_per_s = None
    if not wanted.rig_file.is_file():
        read_rig(wanted.rig_file)
    try:
        rig = read_rig(wanted.rig_file)
    except ConfigError as error:
        cure = f"correct it in {wanted.rig_file}, then check again: devices were not looked at"
        yield from (Finding("rig file", "wrong", mistake, cure) for mistake in error.mistakes)
    except InputError as error:
        yield of_error("rig file", error)
    else:
        visits = _Visits(wanted, rig, computer, say, opener)
        yield from visits.all()
        pictures_per_s = visits.bytes_per_s
    folder = wanted.recordings or wanted.rig_file.absolute().parent
    yield from room.findings(folder, pictures_per_s or room.CAMERA_BYTES_PER_S)
    yield from busy


class _Visits:
    """One round through a rig's devices."""

    def __init__(
        self, wanted: Wanted, rig: Rig, computer: Machine, say: Callable[[str], None], opener: Callable[..., Any]
    ) -> None:
        self._wanted, self._rig, self._computer, self._say, self._opener = wanted, rig, computer, say, opener
        self._ends_s = time.monotonic() + ALL_S
        self.bytes_per_s: float | None = None if rig.camera is not None else room.ROWS_BYTES_PER_S

    def all(self) -> Iterator[Finding]:
        yield from rig_facts.rig_findings(self._rig)
        calibration = None
        if self._rig.camera is not None:
            calibration, findings = self._calibration()
            yield from findings
        if self._rig.gates_driver is not None:
            yield from self._gates(self._rig.gates_driver)
        if self._rig.camera is not None and self._rig.camera.driver is not None:
            yield from self._camera(self._rig.camera.driver, calibration)
        yield from self._others()

    # --- the calibration ---

    def _calibration(self) -> tuple[CameraCalibration | None, list[Finding]]:
        path = self._calibration_path
        try:
            calibration = load_calibration(path)
        except CalibrationError as error:
            cure = f"calibrate the camera, or correct {path}"
            return None, [
                Finding("calibration", "wrong", f"{path.name}: {mistake}", cure) for mistake in error.mistakes
            ]
        now = self._computer.wall()
        today = None if now < machine.RELEASED else now.astimezone().date()
        device = ""
        if self._rig.camera is not None and self._rig.camera.driver is not None:
            device = str(self._rig.camera.driver.options.get("device", ""))
        found = rig_facts.calibration_findings(
            calibration, self._rig, today=today, device=device, depth_mm=self._wanted.depth_mm
        )
        return calibration, list(found)

    @property
    def _calibration_path(self) -> Path:
        named = self._rig.camera.calibration if self._rig.camera is not None else ""
        return self._wanted.rig_file.parent / named

    # --- devices ---

    def _made(self, choice: DriverChoice, name: str, part: str) -> Any:
        """The driver, not opened yet; or the findings that say why there is none."""
        try:
            return self._opener(choice.kind, choice.options, name=name, place=str(self._wanted.rig_file))
        except ConfigError as error:
            cure = f"correct it in {self._wanted.rig_file}"
            return [Finding(part, "wrong", mistake, cure) for mistake in error.mistakes]
        except (InputError, DriverError) as error:
            return [of_error(part, error)]

    def _visited(
        self,
        choice: DriverChoice,
        look: Callable[[Any, threading.Event], list[Finding]],
        *,
        name: str,
        part: str,
        within_s: float,
    ) -> list[Finding]:
        driver = self._made(choice, name, part)
        if isinstance(driver, list):
            return driver
        left_s = max(1.0, min(within_s, self._ends_s - time.monotonic())) if choice.is_live else within_s
        seen = visit(driver, look, part=part, within_s=left_s)
        return [seen] if isinstance(seen, Finding) else seen

    def _gates(self, choice: DriverChoice) -> list[Finding]:
        if not self._wanted.beams:
            return self._visited(choice, self._idle_gates, name=GATES_SOURCE, part="gates", within_s=GATES_S)
        self._ends_s += self._wanted.wait_s + GATES_S
        within_s = self._wanted.wait_s + GATES_S
        return self._visited(choice, self._passed_gates, name=GATES_SOURCE, part="gates", within_s=within_s)

    def _idle_gates(self, driver: Any, broken_off: threading.Event) -> list[Finding]:
        choice = self._rig.gates_driver
        live = choice is not None and choice.is_live
        beams = Beams([gate.name for gate in self._rig.gates])
        own = _self_test(driver)
        heard = self._heard_gates(driver, Until(broken_off, IDLE_S), beams, part="gates", live=live)
        judged = list(beams.idle_findings()) if live else []
        found = _without_weaker(own, judged) + list(heard.findings(but_parts={f.part for f in judged}))
        return found or [Finding("gates", "well", "they answer")]

    def _passed_gates(self, driver: Any, broken_off: threading.Event) -> list[Finding]:
        choice = self._rig.gates_driver
        live = choice is not None and choice.is_live
        names = [gate.name for gate in self._rig.gates]
        beams = Beams(names, say=self._say)
        self._say(
            f"Pass a hand or a straw through each beam, in this order: {', '.join(names)} "
            f"({self._wanted.wait_s:g} s at most)"
        )
        heard = self._heard_gates(
            driver,
            Until(broken_off, self._wanted.wait_s),
            beams,
            part="gates",
            live=live,
            until=lambda: beams.all_passed,
        )
        own = _self_test(driver)  # only now: it knows which beams it has seen both ways
        judged = list(beams.passed_findings())
        return _without_weaker(own, judged) + list(heard.findings(but_parts={f.part for f in judged}))

    @staticmethod
    def _heard_gates(
        driver: Any, stop: Until, beams: Beams, *, part: str, live: bool, until: Callable[[], bool] = lambda: False
    ) -> Hearing:
        hearing = Hearing(part, is_live=live)

        def hear(record: Any) -> None:
            hearing.hear(record)
            if isinstance(record, Edge):
                beams.edge(record)
            if isinstance(record, Edge | Quiet):
                beams.time(record.t_ns)

        listen(driver, stop, hear=hear, until=until)
        return hearing

    def _camera(self, choice: DriverChoice, calibration: CameraCalibration | None) -> Iterator[Finding]:
        found: list[Pictures | None] = [None]
        live = choice.is_live
        within_s = CAMERA_S if live else PATIENT_S

        def look(driver: Any, broken_off: threading.Event) -> list[Finding]:
            own = _self_test(driver)
            is_hopeless = any(finding.health == "wrong" for finding in own)
            lens = calibration.view.lens if calibration is not None else None
            eye = CameraLook(
                asked_hz=_option(driver, choice, "rate_hz"),
                size_px=None if lens is None else (lens.width_px, lens.height_px),
                tests_itself=bool(own),
                none_after_s=(HOPELESS_S if is_hopeless else NONE_AFTER_S) if live else PATIENT_S,
            )
            hearing = Hearing("camera", is_live=live)

            def hear(record: Any) -> None:
                hearing.hear(record)
                if isinstance(record, Frame):
                    eye.hear(record)

            listen(driver, Until(broken_off, within_s), hear=hear, until=eye.is_enough)
            found[0] = eye.pictures()
            return [*own, *hearing.findings(), *eye.findings(found[0])]

        yield from self._visited(choice, look, name=CAMERA_SOURCE, part="camera", within_s=within_s)
        if found[0] is not None:
            self.bytes_per_s = found[0].bytes_per_s
            yield from self._place(found[0], calibration)

    def _place(self, pictures: Pictures, calibration: CameraCalibration | None) -> Iterator[Finding]:
        """Whether the camera stands where it stood when it was calibrated."""
        if calibration is None or not self._rig.lines:
            return
        view, path = calibration.view, self._calibration_path
        if pictures.still.shape != (view.lens.height_px, view.lens.width_px):
            return  # said already
        places = rig_facts.places_mm(self._rig.lines)
        allowed_mm = ABOUT_MM
        if view.variations:
            allowed_mm = max(LEAST_ALLOWED_MM, 2 * float(u_places_mm(view, places).max()))
        before = kept_views.kept(path, view)
        if before or not self._wanted.keep_view:
            compared = kept_views.compared(
                before, view, pictures.still,
                water_mm=np.array(self._rig.tank.outline_mm), places_mm=places, allowed_mm=allowed_mm,
            )  # fmt: skip
            changes = list(self._changes(before, pictures, calibration, places, allowed_mm))
            yield from (one for one in changes if one.part != picture_changes.LEVEL)
            yield compared
            yield from (one for one in changes if one.part == picture_changes.LEVEL)
            if compared.health == "wrong" and self._wanted.keep_view:
                found = "no new picture is kept, because the camera is not where it was calibrated"
                yield Finding(kept_views.PART, "doubtful", found, "calibrate the plane first, then keep a view")
                return
        if self._wanted.keep_view:
            yield self._keep(path, calibration, pictures)

    def _changes(
        self, before: list[Path], pictures: Pictures, calibration: CameraCalibration, places: Floats, allowed_mm: float
    ) -> Iterator[Finding]:
        """Focus, light and level of the water beside the kept view."""
        then = picture_changes.first_of_size(before, pictures.still)
        if then is not None:
            depth_mm = rig_facts.calibrated_depth_mm(calibration) or self._rig.tank.water_depth_mm
            yield from picture_changes.findings(
                then, pictures.still, calibration.view, water_mm=np.array(self._rig.tank.outline_mm), depth_mm=depth_mm,
                places_mm=places, allowed_mm=allowed_mm,
            )  # fmt: skip

    def _keep(self, path: Path, calibration: CameraCalibration, pictures: Pictures) -> Finding:
        try:
            day = self._computer.wall().astimezone().date()
            kept = kept_views.keep(path, calibration.view, pictures.still, day=day)
        except StoreError as error:
            return of_error(kept_views.PART, error)
        return Finding(kept_views.PART, "well", f"a picture is kept as {kept.name}; later checks are compared with it")

    def _others(self) -> Iterator[Finding]:
        rig = self._rig
        for part, choice, look in (
            (PANEL_SOURCE, rig.panel_driver, self._panel),
            ("light", rig.light_driver, self._light),
            ("scale", rig.scale_driver, self._scale),
        ):
            if choice is not None:
                yield from self._visited(choice, look, name=part, part=part, within_s=OTHER_S)

    def _panel(self, driver: Any, broken_off: threading.Event) -> list[Finding]:
        own = _self_test(driver)
        choice = self._rig.panel_driver
        hearing = Hearing(PANEL_SOURCE, is_live=choice is not None and choice.is_live)
        listen(driver, Until(broken_off, IDLE_S), hear=hearing.hear, until=lambda: False)
        troubles = list(hearing.findings(but_parts={finding.part for finding in own}))
        return own + troubles or [Finding(PANEL_SOURCE, "well", "it answers")]

    def _light(self, driver: Light, broken_off: threading.Event) -> list[Finding]:
        own = _self_test(driver)
        try:
            before_ns, after_ns = driver.switch(True)
            broken_off.wait(LIT_S)
        finally:
            driver.switch(False)
        choice = self._rig.light_driver
        live = choice is not None and choice.is_live
        if live and abs(before_ns - time.monotonic_ns()) > CLOCKS_OFF_NS:
            found = "it is switched by another clock than this computer's"
            return [*own, Finding("light", "wrong", found, "do not calibrate with it; report this driver")]
        found = f"it was lit for {LIT_S:g} s, switched within {(after_ns - before_ns) / 1e6:.2f} ms: did you see it?"
        return [*own, Finding("light", "well", found)]

    def _scale(self, driver: Scale, _: threading.Event) -> list[Finding]:
        if own := _self_test(driver):
            return own
        weighed = driver.weigh(1.5)
        found = f"it shows {weighed.mass_g:g} g"
        if weighed.is_steady:
            return [Finding("scale", "well", found)]
        return [Finding("scale", "doubtful", f"{found}, not steady", "put it on a firm table, out of the wind")]


def _self_test(driver: object) -> list[Finding]:
    return driver.self_test() if isinstance(driver, SelfTesting) else []


def _without_weaker(own: list[Finding], judged: list[Finding]) -> list[Finding]:
    """All findings, each part where it first came, but of a part that is judged here no milder ones of the driver's."""
    parts = {finding.part for finding in judged}
    order = {part: place for place, part in enumerate(dict.fromkeys(finding.part for finding in own + judged))}
    kept = [finding for finding in own if finding.part not in parts or finding.health == "wrong"]
    return sorted(kept + judged, key=lambda finding: order[finding.part])


def _option(driver: object, choice: DriverChoice, name: str) -> float | None:
    """An option of a driver as asked in the rig file, or as it is if it is not written there."""
    options = getattr(type(driver), "Options", None)
    if options is None:
        return None
    value = getattr(settings.read(options, choice.options, file="rig file"), name, None)
    return float(value) if isinstance(value, int | float) else None
