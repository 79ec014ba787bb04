"""A recorder that is killed: run as a program with a folder and instants, it kills one recorder at each of them.

An instant is N:S, S microseconds after the recorder said that it had kept N records. For each, a folder named after it
is made and a line "N:S said" is printed, `said` being the number of records that the recorder claimed to have kept.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from logger.recording.journal import Journal
from logger.records import Edge, Frame, Key, Quiet
from tests.logger.recording.conftest import CAMERA, CARD, RIG, jpeg

RECORDS_COUNT = 120


def big_jpeg(number: int) -> bytes:
    """A picture with 400 kB of comment (T.81 B.2.4.5), so that a kill can fall into the middle of its writing."""
    data = jpeg(number)
    comment = b"\xff\xfe" + (65_002).to_bytes(2, "big") + bytes([65 + number % 26]) * 65_000
    return data[:2] + comment * 6 + data[2:]


def records() -> Iterator[Edge | Frame | Key | Quiet]:
    """What every recorder is sent: pictures, edges of two gates, keys, and signs of life."""
    picture = 0
    for number in range(RECORDS_COUNT):
        t_ns = 1_000_000 * (number + 1)
        if number % 3 == 0:
            yield replace(FRAME, t_ns=t_ns, sequence=picture, jpeg=big_jpeg(picture))
            picture += 1
        elif number % 10 == 1:
            yield Key(t_ns, "note", "page", f"number {number}, as said")
        elif number % 3 == 1:
            yield Edge(t_ns, "first", number % 2 == 0, "gates", number)
        else:
            yield Quiet(t_ns, "gates")


FRAME = Frame(0, None, 0, "overhead", jpeg=b"")  # type: ignore[arg-type]


def record(folder: Path, say: int) -> None:
    os.write(say, b".")
    with Journal(folder, card=CARD, rig=RIG, calibration=CAMERA) as journal:
        for one in records():
            journal.keep(one)
            journal.flush()
            os.write(say, b".")


def kill_at(folder: Path, *, said_count: int, after_us: int) -> int:
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(hear)
            record(folder, say)
        finally:
            os._exit(0)
    os.close(say)
    heard = 0
    while heard <= said_count and (more := len(os.read(hear, 1))):
        heard += more
    end_s = time.perf_counter() + after_us * 1e-6
    while time.perf_counter() < end_s:
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := len(os.read(hear, 100)):
        heard += more
    os.close(hear)
    return heard - 1


def main() -> None:
    place = Path(sys.argv[1])
    for instant in sys.argv[2:]:
        said_count, after_us = map(int, instant.split(":"))
        print(instant, kill_at(place / instant, said_count=said_count, after_us=after_us), flush=True)


if __name__ == "__main__":
    main()
