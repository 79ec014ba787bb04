"""The PIN that lets a person change things: kept hashed, tried only so often.

scrypt (RFC 7914) with N = 2^15, r = 8, p = 3 takes 32 MB and a good tenth of a second at each try; that is one of the
settings that are recommended for passwords (from memory: OWASP Password Storage Cheat Sheet).

After five wrong tries an address waits a minute, and twice as long after each more; after a hundred wrong ones in a
row, from wherever, nobody may try until boatrun is started anew (NIST SP 800-63B, 5.2.2: no more than 100).
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
import threading
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from logger import settings
from logger.errors import ConfigError, InputError, StoreError

PIN_FILE, PIN_FORMAT = "pin.toml", "boatrun-pin/1"
LEAST_SIGNS, MOST_SIGNS = 6, 64
FREE_TRIES, MOST_TRIES = 5, 100
FIRST_WAIT_NS, LONGEST_WAIT_NS = 60_000_000_000, 3_600_000_000_000
_COST, _BLOCK, _LANES = 2**15, 8, 3
_MEMORY_BYTES = 64 * 1024 * 1024
_MOST_ADDRESSES = 4096


@dataclass(frozen=True, slots=True)
class Pin:
    """What is kept of a PIN; the PIN itself cannot be told from it."""

    salt: str
    """Hexadecimal."""
    hash: str
    """scrypt of PIN and salt, hexadecimal."""

    def is_right(self, tried: str) -> bool:
        """Whether `tried` is it; takes as long if it is not."""
        return hmac.compare_digest(_hash(tried, bytes.fromhex(self.salt)), self.hash)


def complaint(pin: str) -> str:
    """What is wrong with a PIN somebody wants; empty if nothing."""
    if not (LEAST_SIGNS <= len(pin) <= MOST_SIGNS and pin.isprintable() and pin == pin.strip()):
        return f"found {len(pin)} signs; wanted {LEAST_SIGNS} to {MOST_SIGNS} letters or digits, no blank at either end"
    steps = {ord(b) - ord(a) for a, b in pairwise(pin)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        return "found signs that are all the same or follow each other; wanted some that nobody guesses"
    return ""


def set_pin(rig_file: Path, pin: str) -> Path:
    """Keep the PIN, hashed, beside the rig file; the file.

    Its owner alone may read it, and in a folder that hands its group on (set-group-ID), that group: there a service of
    another account serves the pages.

    Raises:
        InputError: it is too short or too plain.
        StoreError: it cannot be written.
    """
    wrong = complaint(pin)
    if wrong:
        raise InputError(f"boatrun serve --set-pin: {wrong}")
    salt = secrets.token_bytes(16)
    path = rig_file.absolute().parent / PIN_FILE
    text = settings.dump({"format": PIN_FORMAT, "salt": salt.hex(), "hash": _hash(pin, salt)})
    try:
        new = path.with_name(f".{PIN_FILE}-{secrets.token_hex(4)}")
        with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, stat.S_IRUSR | stat.S_IWUSR), "w") as file:
            file.write(text)
            file.flush()
            os.fchmod(file.fileno(), _mode(path.parent))
            os.fsync(file.fileno())
        new.replace(path)
        settings.sync_folder(path.parent)
    except OSError as error:
        raise StoreError(f"{path}: cannot be written ({error.strerror}); check permissions") from error
    return path


def _mode(folder: Path) -> int:
    is_shared = folder.stat().st_mode & stat.S_ISGID
    return stat.S_IRUSR | stat.S_IWUSR | (stat.S_IRGRP if is_shared else 0)


def read_pin(rig_file: Path) -> Pin | None:
    """The PIN that was set for this rig; None if none was. ConfigError: its file is damaged."""
    path = rig_file.absolute().parent / PIN_FILE
    if not path.exists():
        return None
    table = settings.load_table(path)
    if table.pop("format", None) != PIN_FORMAT:
        raise ConfigError(str(path), ["it is no PIN of this version; set it anew: boatrun serve RIG --set-pin"])
    pin = settings.read(Pin, table, file=str(path))
    try:
        whole = len(bytes.fromhex(pin.salt)) == 16 and len(bytes.fromhex(pin.hash)) == 32
    except ValueError:
        whole = False
    if not whole:
        raise ConfigError(str(path), ["it is damaged; set the PIN anew: boatrun serve RIG --set-pin"])
    return pin


def _hash(pin: str, salt: bytes) -> str:
    return hashlib.scrypt(
        pin.encode(), salt=salt, n=_COST, r=_BLOCK, p=_LANES, maxmem=_MEMORY_BYTES, dklen=32
    ).hex()  # fmt: skip


class Attempts:
    """Who may try a PIN now."""

    def __init__(self, clock_ns: Callable[[], int]) -> None:
        self._clock_ns = clock_ns
        self._lock = threading.Lock()
        self._wrong: dict[str, tuple[int, int]] = {}  # address -> tries, until when it waits
        self._in_a_row = 0

    def wait_s(self, address: str) -> int:
        """For how many seconds this address has to wait; 0: it may try."""
        with self._lock:
            until_ns = self._wrong.get(address, (0, 0))[1]
            return max(0, -((self._clock_ns() - until_ns) // 1_000_000_000))

    @property
    def is_closed(self) -> bool:
        """Whether nobody may try any more."""
        with self._lock:
            return self._in_a_row >= MOST_TRIES

    def wrong(self, address: str) -> None:
        """This address has tried a wrong one."""
        with self._lock:
            self._in_a_row += 1
            tries = self._wrong.pop(address, (0, 0))[0] + 1
            wait_ns = 0 if tries < FREE_TRIES else min(FIRST_WAIT_NS << min(tries - FREE_TRIES, 20), LONGEST_WAIT_NS)
            self._wrong[address] = tries, self._clock_ns() + wait_ns
            while len(self._wrong) > _MOST_ADDRESSES:
                del self._wrong[next(iter(self._wrong))]

    def right(self, address: str) -> None:
        """This address knew it."""
        with self._lock:
            self._in_a_row = 0
            self._wrong.pop(address, None)
