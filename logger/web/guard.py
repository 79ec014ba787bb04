"""What stands before every page: is it meant for us, does it come from our own page, may this person, is it too much.

It answers by itself, in one line, what may not pass. What passes gets headers under which a browser runs and loads
nothing but what comes from here.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from logger.web.sessions import COOKIE, Sessions, Visitor

SAFE = frozenset({"GET", "HEAD"})
DOOR = "/pin"
"""Where the PIN is given."""
LANGUAGE = "/language"
"""Where the language of the pages is chosen."""
FOR_VIEWERS = frozenset({DOOR, LANGUAGE})
"""All that a viewer may send."""
FORM_BYTES, PICTURES_BYTES = 1_000_000, 250_000_000
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """An ASGI application around another one."""

    def __init__(self, app: ASGIApp, *, sessions: Sessions, names: Collection[str], uploads: Collection[str]) -> None:
        """`names` are this computer's; `uploads` are how paths begin to which pictures and films may be sent."""
        self._app, self._sessions = app, sessions
        self._names, self._uploads = {name.lower() for name in names}, tuple(uploads)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # nothing else is spoken here
        headers = Headers(scope=scope)
        visitor = self._sessions.visitor(_cookie(headers))
        scope.setdefault("state", {})["visitor"] = visitor
        most_bytes = PICTURES_BYTES if scope["path"].startswith(self._uploads) else FORM_BYTES
        refusal = self._refusal(scope, headers, visitor, most_bytes)
        if refusal is not None:
            status, words = refusal
            await PlainTextResponse(words + "\n", status)(scope, receive, _with_headers(send, visitor))
            return
        await self._app(scope, _counted(receive, most_bytes), _with_headers(send, visitor))

    def _refusal(self, scope: Scope, headers: Headers, visitor: Visitor, most_bytes: int) -> tuple[int, str] | None:
        """Status and words; None: it may pass."""
        host = headers.get("host", "")
        if not self._is_ours(host):
            return 400, f"found the name {host[:80]!r}; wanted one of this computer's: open it by its address"
        if scope["method"] in SAFE:
            return None
        if not _is_same(headers, host):
            return 403, "this did not come from a page of ours; open the page anew and try again"
        if not visitor.is_operator and scope["path"] not in FOR_VIEWERS:
            return 403, f"viewers may only look; give the PIN first: {DOOR}"
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > most_bytes:
            return 413, f"found {length[:20]} bytes; at most {most_bytes // 1_000_000} MB are taken at a time"
        return None

    def _is_ours(self, host: str) -> bool:
        """An address is ours, as nobody else's page can be at it; a name only if it is known (no DNS rebinding)."""
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return name in self._names
        return True


class TooMuchError(Exception):
    """More was sent than was announced."""


def _cookie(headers: Headers) -> str | None:
    jar = SimpleCookie()
    try:
        jar.load(headers.get("cookie", ""))
    except CookieError:
        return None
    return jar[COOKIE].value if COOKIE in jar else None


def _is_same(headers: Headers, host: str) -> bool:
    """Whether a page of ours has sent it, as the browser says (Fetch standard: Origin, Sec-Fetch-Site)."""
    if headers.get("sec-fetch-site", "same-origin") != "same-origin":
        return False
    origin = headers.get("origin")
    if origin is None:
        return "sec-fetch-site" in headers
    try:
        sent = urlsplit(origin)
    except ValueError:
        return False
    return sent.scheme in ("http", "https") and sent.netloc.lower() == host.lower()


def _counted(receive: Receive, most_bytes: int) -> Receive:
    got_bytes = 0

    async def counted() -> Message:
        nonlocal got_bytes
        message = await receive()
        got_bytes += len(message.get("body", b""))
        if got_bytes > most_bytes:
            raise TooMuchError
        return message

    return counted


def _with_headers(send: Send, visitor: Visitor) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
            if visitor.is_new and "set-cookie" not in headers:
                headers.append("Set-Cookie", cookie_of(visitor))
        await send(message)

    return sent


def cookie_of(visitor: Visitor) -> str:
    """The Set-Cookie header that makes a browser this visitor."""
    return f"{COOKIE}={visitor.name}; Path=/; HttpOnly; SameSite=Strict"
