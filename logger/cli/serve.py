"""Show the rig's pages in a browser: the guided calibration, step by step, with a picture at each.

They are reached from this computer alone (http://127.0.0.1:8321) unless --listen names another address of it, such as
that of the rig's own access point. For that a PIN must have been set with --set-pin: whoever gives it may change
things, all others may look. It is sent as it is typed, without encryption: use the rig's own network, and a PIN that
serves for nothing else. --with-pin ADDRESS is --listen ADDRESS where a PIN is set, and this computer alone where none
is: so the rig's own service starts it.

Pages can be left at any time; what was typed and sent is kept in the folder drafts beside the rig file. Ctrl-C ends it.
"""

from __future__ import annotations

import argparse
import getpass
import sys
from datetime import datetime
from pathlib import Path

from logger.errors import InputError

HERE = "127.0.0.1"


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--listen", default=HERE, metavar="ADDRESS", help=f"address of this computer ({HERE})")
    where.add_argument("--with-pin", metavar="ADDRESS", help=f"the same once a PIN is set; until then {HERE}")
    parser.add_argument("--port", type=port_of, default=8321, metavar="N", help="port (8321); 0: any that is free")
    parser.add_argument("--set-pin", action="store_true", help="choose the PIN, keep it hashed beside RIG, and end")


def run(arguments: argparse.Namespace) -> int:
    """Set the PIN, or serve."""
    from logger.recording.rig_toml import read_rig
    from logger.web import pin, server

    read_rig(arguments.rig)
    if arguments.set_pin:
        print(f"kept in {pin.set_pin(arguments.rig, _asked())}; it holds from the next start of boatrun serve on")
        return 0
    address, asked = arguments.with_pin or arguments.listen, None
    if server.needs_pin(address):
        asked = pin.read_pin(arguments.rig)
        if asked is None and arguments.with_pin:
            print(f"no PIN is set, so that others cannot reach the pages; boatrun serve {arguments.rig} --set-pin")
            address = HERE
        elif asked is None:
            raise InputError(
                f"boatrun serve: others can reach {address}, and no PIN is set; choose one first: "
                f"boatrun serve {arguments.rig} --set-pin"
            )
    with server.opened(address, arguments.port) as at:
        host, port = at.getsockname()[:2]
        print(
            f"pages of {arguments.rig}: http://{f'[{host}]' if ':' in host else host}:{port}/ (Ctrl-C ends it)",
            flush=True,
        )
        server.serve(arguments.rig, at, pin=asked, now=lambda: datetime.now().astimezone())
    return 0


def port_of(text: str) -> int:
    """A port by its number, as an argument."""
    if not (text.isascii() and text.isdigit()) or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a port from 0 to 65535")
    return int(text)


def _asked() -> str:
    """The PIN, typed twice without being shown; without a terminal, one line."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("PIN (6 letters or digits or more): ")
    if getpass.getpass("once more: ") != first:
        raise InputError("boatrun serve --set-pin: the two differ; nothing was changed; try again")
    return first
