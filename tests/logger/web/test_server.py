from __future__ import annotations

import http.client
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.web.server import needs_pin, opened
from tests.test_house import PROJECT


@pytest.mark.parametrize(("address", "needed"), [
    ("127.0.0.1", False), ("127.8.8.8", False), ("::1", False), ("0.0.0.0", True), ("::", True),  # noqa: S104
    ("10.42.0.1", True),
    ("192.168.1.5", True), ("::ffff:10.0.0.1", True),
])  # fmt: skip
def test_a_pin_is_needed_wherever_others_can_reach_us(address: str, needed: bool) -> None:
    """Loopback is 127.0.0.0/8 (RFC 1122, 3.2.1.3) and ::1 (RFC 4291, 2.5.3)."""
    assert needs_pin(address) == needed


def test_a_name_is_no_address() -> None:
    with pytest.raises(InputError, match="--listen: found 'localhost'; wanted an address of this computer"):
        needs_pin("localhost")


def test_a_port_that_is_taken_is_told_with_what_to_do() -> None:
    with opened("127.0.0.1", 0) as first:
        port = first.getsockname()[1]
        with pytest.raises(
            InputError, match=rf"127.0.0.1 port {port} cannot be had .*; stop what listens there, or give"
        ):
            opened("127.0.0.1", port)
    with pytest.raises(InputError, match="cannot be had"):
        opened("203.0.113.7", 0)  # an address for documentation (RFC 5737), never this computer's


def test_only_the_address_that_was_asked_for_is_listened_at() -> None:
    with opened("127.0.0.1", 0) as at:
        assert at.getsockname()[0] == "127.0.0.1"
        assert at.family is socket.AF_INET


def test_a_station_that_is_shut_lets_its_viewers_go_and_complains_of_nothing(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "logger", "demo", "--live", "--to", str(tmp_path / "here"), "--port", "0"]
    with (
        (tmp_path / "said").open("w+", encoding="utf-8") as said,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said, text=True, cwd=PROJECT) as station,
    ):
        assert station.stdout is not None
        lines = iter(station.stdout)
        port = next(int(found[1]) for line in lines if (found := re.search(r"127\.0\.0\.1:(\d+)/", line)))
        viewer = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        viewer.request("GET", "/board/events")
        answer = viewer.getresponse()
        while not answer.readline().startswith(b"event: board"):
            pass
        station.send_signal(signal.SIGTERM)
        assert station.wait(60) in (0, -signal.SIGTERM)
        viewer.close()
        said.seek(0)
        assert "Traceback" not in said.read()
