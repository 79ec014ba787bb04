"""The whole command on the real drivers, with a stand-in for the kernel and a webcam, or a board with real firmware."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.files import write_view
from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.cli import main
from logger.drivers import open_driver
from tests.hardware.board import Board
from tests.logger.checkup.rig_text import RIG, TWO_GATES
from tests.logger.drivers.fake_capture import HEIGHT, WIDTH, Now, Webcam

GATES = TWO_GATES + '[gates_driver]\nkind = "serial_gates"\nport = "{port}"\ngates = {{ A = 0, B = 1 }}\n'
CAMERA = f"""\
[camera]
calibration = "camera.toml"
[camera.driver]
kind = "v4l2_camera"
device = "/dev/null"
width_px = {WIDTH}
height_px = {HEIGHT}
come_back_s = 0
"""


@pytest.fixture
def checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., dict[str, Any]]:
    """Checks a rig of these tables; the findings by part, each a list of (health, found), and the exit status."""
    lens = Lens(WIDTH, HEIGHT, 50.0, 50.0, (WIDTH - 1) / 2, (HEIGHT - 1) / 2)
    pose = Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[500.0, 0.0, 1000.0])
    write_view(tmp_path / "camera.toml", View(lens, pose), date="2026-11-01")

    def check(tables: str, *words: str) -> dict[str, Any]:
        (tmp_path / "rig.toml").write_text(RIG + tables, encoding="utf-8")
        status = main(["check", str(tmp_path / "rig.toml"), "--json", *words])
        parts: dict[str, Any] = {"status": status}
        for one in json.loads(capsys.readouterr().out)["findings"]:
            parts.setdefault(one["part"], []).append((one["health"], one["found"]))
            assert bool(one["cure"]) == (one["health"] != "well")
        return parts

    return check


@contextmanager
def hands(board: Board) -> Iterator[None]:
    """Somebody goes from beam to beam with a hand, again and again."""
    over = threading.Event()

    def go() -> None:
        while not over.is_set():
            for gate in (0, 1):
                for blocked in (1, 0):
                    board.edge(gate, blocked)
                    over.wait(0.4)

    thread = threading.Thread(target=go)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def test_a_board_with_two_beams_is_fit_and_proven_by_a_hand(checked: Callable[..., dict[str, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        gates = GATES.format(port=board.port)
        idle = checked(gates)
        assert idle["status"] == 0
        assert [health for health, _ in idle["board gates"]] == ["well"]
        with hands(board):
            passed = checked(gates, "--beams")
    assert passed["status"] == 0
    for gate in ("gate A", "gate B"):
        assert passed[gate][0][0] == "well"
        assert passed[gate][0][1].startswith("trips and clears")


def test_a_board_with_a_blocked_beam_is_not_fit(checked: Callable[..., dict[str, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        board.edge(0, 1)
        found = checked(GATES.format(port=board.port))
    assert found["status"] == 2
    assert "wrong" in {health for health, _ in found["gate A"]}
    assert "wrong" not in {health for health, _ in found.get("gate B", [])}


def test_a_board_that_nobody_passes_is_told_after_the_wait(checked: Callable[..., dict[str, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        found = checked(GATES.format(port=board.port), "--beams", "--wait-s", "0.5")
    assert found["status"] == 2
    assert found["gate A"] == [("wrong", "nothing was seen of it: it never tripped")]


def test_ctrl_c_while_hands_are_waited_for_lets_the_port_go(tmp_path: Path) -> None:
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        path = tmp_path / "rig.toml"
        path.write_text(RIG + GATES.format(port=board.port), encoding="utf-8")
        command = [sys.executable, "-m", "logger", "check", str(path), "--beams"]
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        assert process.stderr is not None
        assert process.stderr.readline().startswith("Pass a hand or a straw through each beam")
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
        assert (process.returncode, told) == (130, "boatrun: stopped; what was finished before is kept\n")
        with open_driver("serial_gates", {"port": str(board.port), "gates": {"A": 0}}):
            pass  # it would say so if somebody still had the port


def test_a_webcam_is_looked_through(checked: Callable[..., dict[str, Any]], monkeypatch: pytest.MonkeyPatch) -> None:
    webcam = Webcam(bench=Now()).open_by(monkeypatch)
    found = checked(CAMERA)
    assert found["camera: size"] == [("well", "pictures of 64 x 48")]
    assert found["camera: pictures"][0][0] == "well"
    assert found["camera delay"][0][0] == "doubtful"
    assert webcam.opened_count == webcam.released_count == 1


@pytest.mark.parametrize(
    ("webcam", "words"),
    [
        ({"formats": [("YUYV", 640, 480)]}, "the camera gives 640 x 480 YUYV"),
        ({"sends": False}, "none came within"),
        ({"is_busy": True}, ""),
        ({"stamp": lambda start_ns: start_ns + 10**18}, "another clock"),
        ({"torn": lambda _: True}, "torn"),
    ],
)
def test_a_webcam_with_a_fault_is_not_fit(
    checked: Callable[..., dict[str, Any]], monkeypatch: pytest.MonkeyPatch, webcam: dict[str, Any], words: str
) -> None:
    camera = Webcam(bench=Now(), **webcam).open_by(monkeypatch)
    found = checked(CAMERA)
    assert found["status"] == 2
    wrong = [
        said for part, told in found.items() if part.startswith("camera") for health, said in told if health == "wrong"
    ]
    assert any(words in said for said in wrong)
    assert camera.released_count == camera.opened_count
