from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from logger.cli import main
from logger.web.pin import read_pin, set_pin
from tests.logger.cli.test_calibrate_plane import RIG


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    return tmp_path / "rig.toml"


@contextmanager
def served(rig: Path, *words: str) -> Iterator[subprocess.Popen[str]]:
    """The program, ended at the end whatever a test found."""
    with subprocess.Popen(
        [sys.executable, "-m", "logger", "serve", str(rig), *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    ) as server:  # fmt: skip
        try:
            yield server
        finally:
            server.kill()


def test_it_serves_on_this_computer_until_it_is_stopped(rig: Path) -> None:
    with served(rig, "--port", "0") as server:
        assert server.stdout is not None
        address = server.stdout.readline().split()[3]
        assert address.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(f"{address.rstrip('/')}/rig", timeout=60) as answer:  # noqa: S310 - it is our own
            assert answer.status == 200
            assert b"Calibration, step by step" in answer.read()
            assert "server" not in {name.lower() for name in answer.headers}
        server.send_signal(signal.SIGINT)
        _, told = server.communicate(timeout=60)
    assert "Traceback" not in told
    assert server.returncode in (0, 130)


def test_nobody_else_is_let_in_without_a_pin(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", str(rig), "--listen", "0.0.0.0"]) == 2  # noqa: S104 - it is refused
    told = capsys.readouterr().err
    assert "others can reach 0.0.0.0, and no PIN is set; choose one first" in told
    assert told.count("\n") == 1


def test_a_service_serves_this_computer_alone_until_a_pin_is_set_and_tells_that_it_lives(
    rig: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """203.0.113.7 is an address for documentation (RFC 5737): where a PIN is set it is asked for, and cannot be had."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", "60000000")
        with served(rig, "--with-pin", "203.0.113.7", "--port", "0") as server:
            assert server.stdout is not None
            assert "no PIN is set, so that others cannot reach the pages" in server.stdout.readline()
            assert server.stdout.readline().split()[3].startswith("http://127.0.0.1:")
            assert [manager.recv(100), manager.recv(100)] == [b"READY=1", b"WATCHDOG=1"]
            server.send_signal(signal.SIGTERM)
            server.communicate(timeout=60)
    assert server.returncode in (0, -signal.SIGTERM)
    set_pin(rig, "seagull7")
    with served(rig, "--with-pin", "203.0.113.7", "--port", "0") as server:
        _, told = server.communicate(timeout=60)
    assert (server.returncode, "203.0.113.7 port 0 cannot be had" in told) == (2, True)


def test_a_pin_is_chosen_and_kept_hashed(rig: Path) -> None:
    with served(rig, "--set-pin") as setting:
        out, told = setting.communicate("seagull7\n", timeout=60)
    assert setting.returncode == 0, told
    assert "it holds from the next start" in out
    pin = read_pin(rig)
    assert pin is not None
    assert pin.is_right("seagull7")
    with served(rig, "--set-pin") as setting:
        _, told = setting.communicate("123456\n", timeout=60)
    assert setting.returncode == 2
    assert "wanted some that nobody guesses" in told


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--listen", "here"], "--listen: found 'here'; wanted an address"),
        (["--listen", "203.0.113.7"], "no PIN is set"),
        (["--port", "70000"], "wanted a port from 0 to 65535"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    rig: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        status = main(["serve", str(rig), *words])
    except SystemExit as left:
        status = int(left.code or 0)
    assert status == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
