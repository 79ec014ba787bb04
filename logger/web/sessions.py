"""Who is at the other end: a viewer, or somebody who has given the PIN. Kept in memory alone.

A browser is known by a random name in a cookie that scripts cannot read and that no other page's request carries. The
token that each form holds is made from that name, so that a form of another page cannot be sent in its stead.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass

COOKIE = "boatrun"
IDLE_NS, LONGEST_NS = 45 * 60 * 1_000_000_000, 8 * 3600 * 1_000_000_000
"""Without a request for so long, or so long after the PIN was given, it must be given again: a class, and a day."""
_MOST_OPERATORS = 64
_NAME = re.compile(r"[\w-]{43}", re.ASCII)


@dataclass(slots=True)
class _Stay:
    begun_ns: int
    seen_ns: int


@dataclass(frozen=True, slots=True)
class Visitor:
    """One browser."""

    name: str
    """Random; what its cookie holds."""
    token: str
    """What its forms hold."""
    is_operator: bool
    """May change things."""
    is_new: bool = False
    """Its cookie has still to be set."""


class Sessions:
    """All browsers. Without a PIN to ask for, all may change things: only this computer reaches the pages then."""

    def __init__(self, clock_ns: Callable[[], int], *, asks_pin: bool) -> None:
        self._clock_ns, self.asks_pin = clock_ns, asks_pin
        self._secret = secrets.token_bytes(32)
        self._lock = threading.Lock()
        self._operators: dict[str, _Stay] = {}

    def visitor(self, cookie: str | None) -> Visitor:
        """Who has sent this cookie; a new viewer if it is none of ours."""
        if cookie is None or not _NAME.fullmatch(cookie):
            name = secrets.token_urlsafe(32)
            return Visitor(name, self._token(name), not self.asks_pin, is_new=True)
        return Visitor(cookie, self._token(cookie), not self.asks_pin or self._is_operator(cookie))

    def admit(self) -> Visitor:
        """A person has given the PIN: a browser with a new name that may change things."""
        name, now_ns = secrets.token_urlsafe(32), self._clock_ns()
        with self._lock:
            self._operators[name] = _Stay(now_ns, now_ns)
            while len(self._operators) > _MOST_OPERATORS:
                del self._operators[min(self._operators, key=lambda one: self._operators[one].seen_ns)]
        return Visitor(name, self._token(name), is_operator=True, is_new=True)

    def leave(self, visitor: Visitor) -> None:
        """From now on only a viewer."""
        with self._lock:
            self._operators.pop(visitor.name, None)

    def _is_operator(self, name: str) -> bool:
        now_ns = self._clock_ns()
        with self._lock:
            stay = self._operators.get(name)
            if stay is None:
                return False
            if now_ns - stay.seen_ns > IDLE_NS or now_ns - stay.begun_ns > LONGEST_NS:
                del self._operators[name]
                return False
            stay.seen_ns = now_ns
            return True

    def _token(self, name: str) -> str:
        return hmac.new(self._secret, name.encode(), hashlib.sha256).hexdigest()


def is_token(visitor: Visitor, sent: str) -> bool:
    """Whether a form was drawn for this browser."""
    return hmac.compare_digest(visitor.token.encode(), sent.encode())
