from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.checkup import plug
from logger.checkup.gate_trials import Judged
from logger.checkup.machine import Machine
from logger.drivers import open_driver
from logger.guide import accept_plug
from logger.guide.accept_plug import Counted, pulled_plug, told
from logger.recording.rig_toml import read_rig
from logger.records import Edge
from tests.logger import accept_rig

ALIVE = {"pace": "real_time", "speed_ratio": 10.0, "walks_through": True}


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    return accept_rig.accept_rig(tmp_path / "rig", **ALIVE)


def led(rig: Path, folder: Path, computer: Machine, said: list[str] | None = None) -> Judged | str:
    words = said if said is not None else []
    return pulled_plug(rig, read_rig(rig), folder, rig.parent / "recordings", computer=computer, say=words.append)[0]


def test_a_recorder_killed_in_its_run_is_found_judged_and_kept(rig: Path, tmp_path: Path) -> None:
    """The process is killed at once; what a power cut of the disk itself leaves is shown in tests/logger/recording."""
    assert "pull the computer's own plug now" in accept_rig.pulled_plug(rig)
    (folder,) = (rig.parent / "acceptance").iterdir()
    begun = plug.begun_in(folder)
    assert begun is not None
    assert begun.boot_id == plug.boot_id()
    judged = led(rig, folder, Machine(root=accept_rig.started_anew(tmp_path / "root")))
    assert isinstance(judged, Judged), judged
    assert judged.passed, judged
    assert judged.found[0].startswith("4 of 4 edges")
    assert (rig.parent / "recordings" / "pulled-plug-1.unfinished" / "edges.csv").is_file()
    assert plug.begun_in(folder) is None, "the next one begins anew"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_computer_switched_off_in_good_order_is_no_pulled_plug(rig: Path, tmp_path: Path, number: int) -> None:
    folder = tmp_path / "evidence"
    folder.mkdir()
    told = threading.Event()

    def say(_: str) -> None:
        told.set()

    sender = threading.Thread(target=lambda: told.wait(60) and os.kill(os.getpid(), number))
    sender.start()
    words, _ = pulled_plug(rig, read_rig(rig), folder, rig.parent / "recordings", computer=Machine(), say=say)
    sender.join()
    assert words == "it was stopped by hand; the plug was not pulled"
    assert plug.begun_in(folder) is None, "a later start does not judge it"


def test_a_recording_that_ends_by_itself_was_not_pulled(tmp_path: Path) -> None:
    rig = accept_rig.accept_rig(tmp_path / "rig", length_s=2.0, walks_through=True)
    folder = tmp_path / "evidence"
    folder.mkdir()
    assert "came to its end before the plug was pulled" in str(led(rig, folder, Machine()))
    assert (rig.parent / "recordings" / "pulled-plug-1").is_dir()


def test_the_plug_is_asked_for_only_when_everything_has_come() -> None:
    assert "pull the computer's own plug now, while you wave" in told(4, 80, is_enough=True)
    assert "pull the computer's own plug now" in told(None, 80, is_enough=True)
    assert "wave a straw through a beam" in told(0, 80, is_enough=False)
    assert "wait for the camera" in told(4, 0, is_enough=False)
    assert "a moment yet" in told(4, 80, is_enough=False)
    assert told(4, None, is_enough=True) == "  4 edges so far: pull the computer's own plug now, while you wave"


def test_records_are_counted_as_they_come() -> None:
    options = {"gates": ["A", "B"], "pace": "fast", "walks_through": True, "length_s": 4.0}
    counted = Counted(open_driver("simulated_attended_gates", options, name="gates"))
    with counted:
        edges = [record for record in counted.records(threading.Event()) if isinstance(record, Edge)]
    assert (counted.name, counted.edges_count, counted.frames_count) == ("gates", 4, 0)
    assert len(edges) == 4
    assert counted.self_test() == []


def test_a_drivers_own_word_is_passed_on() -> None:
    class Knows:
        name = "gates"

        def self_test(self) -> list[str]:
            return ["its word"]

        def records(self, _: Any) -> Iterator[Any]:
            return iter(())

    assert Counted(Knows()).self_test() == ["its word"]
    assert accept_plug.Counted.__doc__
