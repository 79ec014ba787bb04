"""The lines that a gate board and the host say to each other, as text and back. See hardware/serial_protocol.md.

What may live here: text, checksum, the values that a line means. No port, no clock, no decision.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from typing import TypeAlias

PROTOCOL = 1
"""Version of the protocol that is spoken here."""
NUMBERS = 2**30
"""Edges, and edges that found no room, are counted modulo this."""
MOST_LINE_BYTES = 96
"""No line is longer, its end included."""
SESSIONS = 30_000
"""Sessions are numbered below this; 0 is that of a board that nobody has greeted since its start."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Who the board is."""

    session: int
    """The number that it was greeted with."""
    protocol: int
    """Version of the protocol that it speaks."""
    firmware: str
    version: str
    gates_count: int
    counter_bits_count: int
    """Its counter goes round after 2 to the power of this."""
    tick_ns: int
    """What one step of its counter is meant to last."""
    late_us: int
    """So much later than the beam an edge may be stamped, at most."""
    wire_hz: int
    """Bits a second of the wire behind the port; 0 where there is no such wire (USB by itself)."""
    next_number: int
    """The number that its next edge will have."""
    changed: tuple[bool, ...]
    """For each gate: its level has changed since the board was switched on."""


@dataclass(frozen=True, slots=True)
class EdgeLine:
    """A gate changed its level."""

    session: int
    """As the board was greeted."""
    number: int
    """Running number of all edges of this board, modulo NUMBERS."""
    gate_index: int
    level: int
    """0 or 1, after the edge."""
    counter: int
    """The board's counter at the edge, in its ticks."""


@dataclass(frozen=True, slots=True)
class Mark:
    """The board lives, and every edge that its counter had passed has been sent before this line."""

    session: int
    """As the board was greeted."""
    token: int | None
    """Of the ping that this answers; None where the board says it by itself."""
    counter: int
    """The board's counter when the ping's first letter came, or now, in its ticks."""
    next_number: int
    """The number that its next edge will have."""
    levels: tuple[int, ...]
    """0 or 1 for each gate, now."""
    overflow_count: int
    """Edges since the start that found no room in the board, modulo NUMBERS."""
    took: int = 0
    """Ticks from the ping's first letter to this line's leaving; 0 where there was no ping."""


BoardLine: TypeAlias = Hello | EdgeLine | Mark

_NUMBER = rb"(0|[1-9]\d{0,9})"
_WORD = rb"([A-Za-z0-9_.-]{1,16})"
_BITS = rb"([01]{1,8})"
_FORMS: dict[bytes, re.Pattern[bytes]] = {
    kind: re.compile(rb" ".join((kind, *fields)))
    for kind, fields in {
        b"H": (_NUMBER, _NUMBER, _WORD, _WORD, *[_NUMBER] * 6, _BITS),
        b"E": (_NUMBER, _NUMBER, rb"([0-7])", rb"([01])", _NUMBER),
        b"T": (*[_NUMBER] * 4, _BITS, _NUMBER, _NUMBER),
        b"L": (_NUMBER, _NUMBER, _NUMBER, _BITS, _NUMBER),
    }.items()
}


def checksum(text: bytes) -> bytes:
    """CRC-32 of ITU-T V.42 (8.1.1.6.2), the one of zlib and PNG, as eight lower-case hexadecimal digits."""
    return b"%08x" % zlib.crc32(text)


def sealed(text: bytes) -> bytes:
    """A whole line: `text`, a blank, its checksum, and the line's end."""
    return text + b" " + checksum(text) + b"\n"


def greeting(session: int) -> bytes:
    """The host's line that asks the board who it is and begins a session."""
    return sealed(b"h %d" % session)


def ping(token: int) -> bytes:
    """The host's line that asks the board for its counter."""
    return sealed(b"p %d" % token)


def parse(line: bytes) -> BoardLine:
    """What a board said.

    Args:
        line: without its end; a carriage return at its end is allowed.

    Raises:
        ValueError: this is no line of the protocol, or it was damaged on its way.
    """
    if len(line) > MOST_LINE_BYTES:
        raise ValueError("a line is too long")
    text, _, check = line.removesuffix(b"\r").rpartition(b" ")
    form = _FORMS.get(text[:1])
    found = form.fullmatch(text) if form else None
    if found is None or check != checksum(text):
        raise ValueError("no line of the protocol, or a damaged one")
    match text[:1], found.groups():
        case b"H", (session, protocol, firmware, version, *numbers, changed):
            gates, bits, tick, late, wire, number = (int(field) for field in numbers)
            who = int(session), int(protocol), firmware.decode("ascii"), version.decode("ascii")
            return Hello(*who, gates, bits, tick, late, wire, number, tuple(bit == 1 for bit in _bits(changed)))
        case b"E", fields:
            return EdgeLine(*(int(field) for field in fields))
        case b"T", (session, token, counter, number, levels, overflow, took):
            rest = int(counter), int(number), _bits(levels), int(overflow)
            return Mark(int(session), int(token), *rest, int(took))
        case b"L", (session, counter, number, levels, overflow):
            return Mark(int(session), None, int(counter), int(number), _bits(levels), int(overflow))
    raise AssertionError(line)  # pragma: no cover


def _bits(levels: bytes) -> tuple[int, ...]:
    return tuple(bit - 48 for bit in levels)


def written(said: BoardLine) -> bytes:
    """The line by which a board says this, with its end."""
    match said:
        case Hello():
            fields: tuple[object, ...] = (
                *("H", said.session, said.protocol, said.firmware, said.version, said.gates_count),
                *(said.counter_bits_count, said.tick_ns, said.late_us, said.wire_hz, said.next_number),
                "".join("1" if bit else "0" for bit in said.changed),
            )
        case EdgeLine():
            fields = ("E", said.session, said.number, said.gate_index, said.level, said.counter)
        case Mark():
            rest = said.counter, said.next_number, "".join(map(str, said.levels)), said.overflow_count
            if said.token is None:
                fields = ("L", said.session, *rest)
            else:
                fields = ("T", said.session, said.token, *rest, said.took)
    return sealed(" ".join(map(str, fields)).encode("ascii"))
