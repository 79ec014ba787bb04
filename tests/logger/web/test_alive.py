"""Names and words: sd_notify(3), and systemd.service(5) under WatchdogSec=."""

from __future__ import annotations

import asyncio
import select
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.web.alive import keep_telling


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(30)
        yield listening


async def _told(
    environment: dict[str, str], manager: socket.socket, words_count: int, ready: list[bool]
) -> list[bytes]:
    telling = asyncio.create_task(keep_telling(environment, lambda: ready[0]))
    found = [await asyncio.to_thread(manager.recv, 100) for _ in range(words_count)]
    telling.cancel()
    (ended,) = await asyncio.gather(telling, return_exceptions=True)
    assert isinstance(ended, asyncio.CancelledError)
    return found


def test_the_manager_is_told_once_that_pages_are_there_and_again_and_again_that_they_answer(
    manager: socket.socket,
) -> None:
    environment = {"NOTIFY_SOCKET": manager.getsockname(), "WATCHDOG_USEC": "30000"}
    assert asyncio.run(_told(environment, manager, 4, [True])) == [b"READY=1", *[b"WATCHDOG=1"] * 3]


def test_nothing_is_told_before_pages_are_there(manager: socket.socket) -> None:
    async def later() -> list[bytes]:
        asked, ready = asyncio.Event(), False

        def is_ready() -> bool:
            asked.set()
            return ready

        telling = asyncio.create_task(keep_telling({"NOTIFY_SOCKET": manager.getsockname()}, is_ready))
        await asked.wait()
        assert select.select([manager], [], [], 0)[0] == []
        ready = True
        await telling  # without a limit nothing more is told
        return [manager.recv(100)]

    assert asyncio.run(later()) == [b"READY=1"]


def test_a_manager_with_an_abstract_address_is_told_too() -> None:
    """sd_notify(3): a first @ stands for a zero byte."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind("\0boatrun-test-alive")
        listening.settimeout(30)
        asyncio.run(keep_telling({"NOTIFY_SOCKET": "@boatrun-test-alive"}, lambda: True))
        assert listening.recv(100) == b"READY=1"


def test_without_a_manager_there_is_nobody_to_tell() -> None:
    asyncio.run(keep_telling({}, lambda: False))
