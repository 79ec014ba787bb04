from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from logger.errors import DriverError
from logger.lesson.crew import Seen
from logger.lesson.lookout import Lookout
from logger.recording.rig_toml import read_rig
from logger.records import Edge, Fault, Frame, Key, Quiet
from tests.logger.lesson.practice import rig_file


class Slow:
    """A device that takes as long to open as it likes, and is to be opened once at a time."""

    name = "camera"

    def __init__(self) -> None:
        self.is_opening, self.may_open, self.is_closed = threading.Event(), threading.Event(), threading.Event()

    def __enter__(self) -> Slow:
        self.is_opening.set()
        assert self.may_open.wait(60)
        return self

    def __exit__(self, *_: object) -> None:
        self.is_closed.set()

    def records(self, stop: threading.Event) -> Iterator[Any]:
        while not stop.wait(0.01):
            yield Quiet(1, self.name)


class Told:
    """A device that says what it was given, and then waits."""

    def __init__(self, name: str, records: list[Any], *, broken: int = 0) -> None:
        self.name, self._records, self._broken = name, records, broken

    def __enter__(self) -> Told:
        if self._broken:
            self._broken -= 1
            raise DriverError(f"{self.name}: not plugged in; plug it in")
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def records(self, stop: threading.Event) -> Iterator[Any]:
        yield from self._records
        stop.wait()


def watched(folder: Path, drivers: list[Any], until: Any) -> tuple[list[Seen], list[str]]:
    """What was seen until `until` holds of the last of it."""
    file = rig_file(folder)
    seen: list[Seen] = []
    pressed: list[str] = []
    stop = threading.Event()

    def tell(one: Seen) -> None:
        seen.append(one)
        if until(one):
            stop.set()

    lookout = Lookout(read_rig(file), drivers, rig_file=file, tell=tell, pressed=pressed.append)
    watching = threading.Thread(target=lookout.watch, args=(stop,))
    watching.start()
    watching.join(60)
    assert not watching.is_alive()
    return seen, pressed


def test_beams_are_unknown_until_the_gates_speak_and_then_as_they_say(tmp_path: Path) -> None:
    gates = [gate.name for gate in read_rig(rig_file(tmp_path)).gates]
    device = Told("gates", [Edge(1, gates[0], True, "gates"), Quiet(2, "gates")])
    seen, _ = watched(tmp_path, [device], lambda one: one.beams[gates[1]] == "clear")
    assert seen[0].beams[gates[1]] == "unknown"
    assert seen[-1].beams == {gates[0]: "blocked", gates[1]: "clear"}


def test_buttons_are_passed_on(tmp_path: Path) -> None:
    device = Told("panel", [Key(1, "arm", "panel"), Key(2, "keep", "panel"), Fault(3, "panel", "a loose wire", "mend")])
    seen, pressed = watched(tmp_path, [device], lambda one: one.troubles)
    assert pressed == ["arm", "keep"]
    assert seen[-1].troubles == ("a loose wire; mend",)


def test_a_missing_device_hides_no_other_and_is_tried_again(tmp_path: Path, monkeypatch: Any) -> None:
    from logger.lesson import lookout

    monkeypatch.setattr(lookout, "AGAIN_S", 0.05)
    gates = Told("gates", [Quiet(2, "gates")])
    camera = Told("camera", [Quiet(2, "camera")], broken=2)
    tried: list[Seen] = []

    def is_back(one: Seen) -> bool:
        tried.append(one)
        return any(earlier.troubles for earlier in tried) and not one.troubles

    seen, _ = watched(tmp_path, [camera, gates], is_back)
    assert ("camera: not plugged in; plug it in",) in [one.troubles for one in seen]
    assert "clear" in seen[-1].beams.values()


def test_every_picture_is_handed_on(tmp_path: Path) -> None:
    file, stop, seen = rig_file(tmp_path), threading.Event(), list[Frame]()
    pictures = [Frame(t_ns, np.zeros((4, 4, 3), np.uint8), t_ns, "camera") for t_ns in (1, 2, 3)]
    camera = Told("camera", pictures)

    def pictured(frame: Frame) -> None:
        seen.append(frame)
        if len(seen) == len(pictures):
            stop.set()

    lookout = Lookout(read_rig(file), [camera], rig_file=file, tell=print, pressed=print, pictured=pictured)
    watching = threading.Thread(target=lookout.watch, args=(stop,))
    watching.start()
    watching.join(60)
    assert seen == pictures


def test_a_device_that_is_just_being_opened_is_waited_for_and_closed(tmp_path: Path) -> None:
    file, stop, camera = rig_file(tmp_path), threading.Event(), Slow()
    lookout = Lookout(read_rig(file), [camera], rig_file=file, tell=print, pressed=print)
    watching = threading.Thread(target=lookout.watch, args=(stop,))
    watching.start()
    assert camera.is_opening.wait(60)
    stop.set()
    threading.Timer(0.2, camera.may_open.set).start()
    watching.join(60)
    assert camera.is_closed.is_set()


def test_one_that_opens_too_late_is_closed_even_when_the_same_word_is_used_again(
    tmp_path: Path, monkeypatch: Any
) -> None:
    from logger.lesson import lookout

    monkeypatch.setattr(lookout, "_STOP_S", 0.05)
    file, stop, camera = rig_file(tmp_path), threading.Event(), Slow()
    watch = Lookout(read_rig(file), [camera], rig_file=file, tell=print, pressed=print).watch
    watching = threading.Thread(target=watch, args=(stop,))
    watching.start()
    assert camera.is_opening.wait(60)
    stop.set()
    watching.join(60)
    assert not watching.is_alive()
    assert not camera.is_closed.is_set()
    stop.clear()
    camera.may_open.set()
    assert camera.is_closed.wait(60)
