"""Lines of the gates' protocol, there and back, and damaged."""

from __future__ import annotations

import random
import re
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.drivers import board_lines
from logger.drivers.board_lines import NUMBERS, BoardLine, EdgeLine, Hello, Mark, checksum, parse, written

number = st.integers(0, NUMBERS - 1)
counter = st.integers(0, 2**32 - 1)
word = st.from_regex(r"[A-Za-z0-9_.-]{1,16}", fullmatch=True)
hellos = st.builds(
    Hello,
    session=st.integers(0, board_lines.SESSIONS - 1),
    protocol=st.integers(0, 99),
    firmware=word,
    version=word,
    gates_count=st.integers(1, 8),
    counter_bits_count=st.integers(16, 32),
    tick_ns=st.integers(1, 100_000),
    late_us=st.integers(0, 9999),
    wire_hz=st.sampled_from([0, 115_200, 1_000_000]),
    next_number=number,
    changed=st.lists(st.booleans(), min_size=1, max_size=8).map(tuple),
)
edges = st.builds(EdgeLine, number, number, st.integers(0, 7), st.integers(0, 1), counter)
levels = st.lists(st.integers(0, 1), min_size=1, max_size=8).map(tuple)
signs_of_life = st.builds(Mark, number, st.none(), counter, number, levels, number)
answers = st.builds(Mark, number, number, counter, number, levels, number, number)
said: st.SearchStrategy[BoardLine] = hellos | edges | signs_of_life | answers


@given(said)
def test_what_is_said_is_understood(line: BoardLine) -> None:
    assert parse(written(line).removesuffix(b"\n")) == line
    assert parse(written(line).replace(b"\n", b"\r")) == line
    assert len(written(line)) <= board_lines.MOST_LINE_BYTES


@given(said, st.data())
def test_a_line_with_one_to_four_wrong_bits_is_refused(line: BoardLine, data: st.DataObject) -> None:
    text = bytearray(written(line).removesuffix(b"\n"))
    bits = data.draw(st.sets(st.integers(0, 8 * len(text) - 1), min_size=1, max_size=4))
    for bit in bits:
        text[bit // 8] ^= 1 << bit % 8
    with pytest.raises(ValueError, match="no line of the protocol"):
        parse(bytes(text))


@pytest.mark.parametrize(
    ("text", "check"),
    [
        # The check value of CRC-32 in the catalogue of parametrised CRC algorithms (G. Cook): CRC-32/ISO-HDLC, which
        # names ITU-T V.42 (8.1.1.6.2) and IEEE 802.3 (3.2.9). From memory; zlib agrees.
        (b"123456789", b"cbf43926"),
        # The last twelve bytes of every PNG file (ISO/IEC 15948, 11.2.5: IEND has no data): 00000000 49454e44 ae426082.
        (b"IEND", b"ae426082"),
    ],
)
def test_the_checksum_is_the_published_one(text: bytes, check: bytes) -> None:
    assert checksum(text) == check


def test_the_checksum_is_what_its_polynomial_says() -> None:
    """Bit by bit, x³² + x²⁶ + … + 1 mirrored, all ones before and after (ITU-T V.42, 8.1.1.6.2)."""

    def slowly(text: bytes) -> int:
        rest = 0xFFFFFFFF
        for byte in text:
            rest ^= byte
            for _ in range(8):
                rest = rest >> 1 ^ (0xEDB88320 if rest & 1 else 0)
        return rest ^ 0xFFFFFFFF

    for text in (b"", b"p 17", bytes(range(256))):
        assert int(checksum(text), 16) == slowly(text) == zlib.crc32(text)


def test_a_hundred_thousand_random_lines_are_all_refused() -> None:
    chance = random.Random(1)  # noqa: S311
    letters = b"HETLhp 0123456789abcdef\r\x00\xff"
    true_line = written(EdgeLine(7, 3, 0, 1, 123456)).removesuffix(b"\n")
    accepted = 0
    for index in range(100_000):
        if index % 3 == 0:
            line = chance.randbytes(chance.randrange(120))
        elif index % 3 == 1:
            line = bytes(chance.choices(letters, k=chance.randrange(60)))
        else:  # nearly right
            line = bytearray(true_line)
            for _ in range(chance.randrange(1, 6)):
                line[chance.randrange(len(line))] = chance.choice(letters)
            line = bytes(line)
        try:
            parse(line)
        except ValueError:
            continue
        accepted += line != true_line
    assert accepted == 0


@pytest.mark.parametrize(
    "text",
    [b"E 1 2 8 1 3", b"E 1 2 0 2 3", b"E 1 -2 0 1 3", b"E 1 2 0 1", b"E 01 2 0 1 3", b"X 1", b"E 1  2 0 1 3", b""],
)
def test_what_is_sealed_but_means_nothing_is_refused(text: bytes) -> None:
    with pytest.raises(ValueError, match="no line of the protocol"):
        parse(board_lines.sealed(text).removesuffix(b"\n"))


def test_a_line_that_is_too_long_is_refused() -> None:
    with pytest.raises(ValueError, match="too long"):
        parse(b"E" * 97)


def test_every_example_of_the_document_is_a_line_of_the_protocol(project: Path) -> None:
    document = (project / "hardware/serial_protocol.md").read_text(encoding="utf-8")
    shown = re.findall(r"^    ([HETLhp] .*)$", document, re.MULTILINE)
    assert {line[0] for line in shown} == set("HETLhp")
    for line in shown:
        text, _, check = line.encode().rpartition(b" ")
        assert checksum(text) == check, line
        if line[0] in "HETL":
            assert written(parse(line.encode())) == line.encode() + b"\n"
        else:
            asked = board_lines.greeting if line[0] == "h" else board_lines.ping
            assert asked(int(text[2:])) == line.encode() + b"\n"
