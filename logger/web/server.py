"""The server: an address of this computer, and the pages behind it."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import os
import socket
import tempfile
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import FrameType

import uvicorn

from logger.errors import InputError
from logger.web import alive
from logger.web.app import build
from logger.web.pin import Pin

_MOST_CONNECTIONS = 200


def needs_pin(address: str) -> bool:
    """Whether others than this computer reach that address. InputError: it is no address."""
    try:
        return not ipaddress.ip_address(address).is_loopback
    except ValueError as error:
        raise InputError(
            f"boatrun serve: --listen: found {address!r}; wanted an address of this computer, such as 10.42.0.1, or "
            "0.0.0.0 for all of them"
        ) from error


def opened(address: str, port: int) -> socket.socket:
    """The socket that is listened at. InputError: it cannot be had."""
    is_6 = ipaddress.ip_address(address).version == 6
    try:
        return socket.create_server((address, port), family=socket.AF_INET6 if is_6 else socket.AF_INET, backlog=128)
    except OSError as error:
        cure = "stop what listens there, or give another --port" if error.errno == 98 else "see ip address"
        raise InputError(f"boatrun serve: {address} port {port} cannot be had ({error.strerror}); {cure}") from error


def serve(rig_file: Path, at: socket.socket, *, pin: Pin | None, now: Callable[[], datetime]) -> None:
    """Serve until Ctrl-C or SIGTERM; a service manager that has started us is told that we live."""
    drafts = rig_file.absolute().parent / "drafts"
    drafts.mkdir(exist_ok=True)
    tempfile.tempdir = str(drafts)  # a picture that is being sent must not fill a /tmp that is memory
    ending = threading.Event()
    app = build(rig_file, pin=pin, now=now, ending=ending)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, ws="none", lifespan="on", http="h11",
        loop="asyncio", limit_concurrency=_MOST_CONNECTIONS, timeout_keep_alive=5, timeout_graceful_shutdown=2,
        proxy_headers=False,
    )  # fmt: skip
    asyncio.run(_served(_Server(config, ending), at))


class _Server(uvicorn.Server):
    """Lets those go who watch, before it waits for them."""

    def __init__(self, config: uvicorn.Config, ending: threading.Event) -> None:
        super().__init__(config)
        self._ending = ending

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Ctrl-C or SIGTERM."""
        self._ending.set()
        super().handle_exit(sig, frame)


async def _served(server: uvicorn.Server, at: socket.socket) -> None:
    telling = asyncio.create_task(alive.keep_telling(os.environ, lambda: server.started))
    try:
        await server.serve(sockets=[at])
    finally:
        telling.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await telling
