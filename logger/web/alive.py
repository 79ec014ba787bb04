"""Tells the system's service manager that the pages answer (sd_notify(3): READY=1 once, WATCHDOG=1 again and again).

What is told comes from the loop that answers the pages, so that one that hangs says nothing, and is started anew.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Mapping

SOCKET, LIMIT = "NOTIFY_SOCKET", "WATCHDOG_USEC"
_NOT_YET_S = 0.05


async def keep_telling(environment: Mapping[str, str], is_ready: Callable[[], bool]) -> None:
    """Tell it until cancelled; at once nothing more if no service manager has started us.

    Args:
        environment: names the manager's socket, and how long it waits for a word, in microseconds.
        is_ready: whether pages are answered by now.
    """
    address = environment.get(SOCKET, "")
    if not address:
        return
    while not is_ready():
        await asyncio.sleep(_NOT_YET_S)
    _tell(address, b"READY=1")
    limit_us = environment.get(LIMIT, "")
    while limit_us.isdigit() and int(limit_us) > 0:
        _tell(address, b"WATCHDOG=1")
        await asyncio.sleep(int(limit_us) / 3e6)


def _tell(address: str, word: bytes) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as there:
        there.sendto(word, "\0" + address[1:] if address.startswith("@") else address)
