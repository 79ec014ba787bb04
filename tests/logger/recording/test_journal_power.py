"""The power fails at any instant: what is older than a second is on the disk, or people had been told that it is not.

The card is one that keeps what was synced and may keep any part of the rest, in blocks of its own, with zeros between.
"""

from __future__ import annotations

import os
import random
import shutil
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from logger.recording.folder import load
from logger.recording.journal import PROMISE_NS, Journal
from logger.records import Edge, Frame, Key, Record

from .conftest import CAMERA, CARD, RIG, frame, jpeg

MS = 1_000_000
BLOCK_BYTES = 512
FILES = ("edges.csv", "events.csv", "frames.csv", "video.mjpeg")


@dataclass
class Card:
    """A memory card whose syncs take their time; remembers what was written and synced when."""

    longest_sync_s: float
    chance: random.Random = field(default_factory=lambda: random.Random(3))  # noqa: S311
    written: list[tuple[int, str, int]] = field(default_factory=list)
    synced: list[tuple[int, str, int]] = field(default_factory=list)
    """(when, file, size)"""
    syncs_count: int = 0

    def write(self, handle: int, data: memoryview) -> int:
        count = os.write(handle, data)
        self.written.append((time.monotonic_ns(), name_of(handle), os.fstat(handle).st_size))
        return count

    def sync(self, handle: int) -> None:
        size = os.fstat(handle).st_size
        threading.Event().wait(self.chance.random() * self.longest_sync_s)
        self.synced.append((time.monotonic_ns(), name_of(handle), size))
        self.syncs_count += 1

    def kept_bytes(self, name: str, cut_ns: int) -> int:
        """What is on the platter for certain."""
        return max((size for t_ns, synced, size in self.synced if synced == name and t_ns <= cut_ns), default=0)

    def most_bytes(self, name: str, cut_ns: int) -> int:
        """What may be on it."""
        return max((size for t_ns, written, size in self.written if written == name and t_ns <= cut_ns), default=0)


def name_of(handle: int) -> str:
    return Path(os.readlink(f"/proc/self/fd/{handle}")).name


@dataclass
class Sent:
    """What was handed to the journal when, what people were told when, and how long this machine stood still."""

    records: list[tuple[int, Record]] = field(default_factory=list)
    pictures: dict[int, bytes | None] = field(default_factory=dict)
    told_ns: list[int] = field(default_factory=list)
    stood_still_ns: int = 0


def record_for(journal: Journal, length_ns: int) -> Sent:
    """Edges every 5 ms, a picture every 30 ms, a word every 100 ms, in real time."""
    sent, begun_ns, pictures = Sent(), time.monotonic_ns(), [frame(n) for n in range(8)]
    last_ns = begun_ns
    for number in range(length_ns // (5 * MS)):
        while (left_ns := begun_ns + number * 5 * MS - time.monotonic_ns()) > 0:
            threading.Event().wait(left_ns / 1e9)
        now_ns = time.monotonic_ns()
        sent.stood_still_ns = max(sent.stood_still_ns, now_ns - last_ns)
        last_ns = now_ns
        records: list[Record] = [Edge(now_ns, "first", number % 2 == 0, "gates", number)]
        if number % 6 == 0:
            picture = pictures[number // 6 % 8]
            records.append(Frame(now_ns, picture.image, number // 6, "overhead", jpeg=jpeg(number // 6 % 8)))
        if number % 20 == 0:
            records.append(Key(now_ns, "note", "page", f"number {number}"))
        for one in records:
            sent.records.append((now_ns, one))
            journal.keep(one)
            if isinstance(one, Frame):
                sent.pictures[one.t_ns] = one.jpeg
        sent.told_ns += [time.monotonic_ns() for event in journal.news() if event.event == "disk_slow"]
    return sent


def platter(card: Card, files: dict[str, bytes], cut_ns: int, chance: random.Random, folder: Path) -> None:
    """The files as they are found after a power cut at `cut_ns`."""
    for name in FILES:
        kept, most = card.kept_bytes(name, cut_ns), card.most_bytes(name, cut_ns)
        size = chance.randint(kept, most)
        data = bytearray(files[name][:size]) if name in files else bytearray()
        for start in range(-(-kept // BLOCK_BYTES) * BLOCK_BYTES, size, BLOCK_BYTES):
            if chance.random() < 0.2:
                data[start : start + BLOCK_BYTES] = bytes(len(data[start : start + BLOCK_BYTES]))
        if most:
            (folder / name).write_bytes(data)


@pytest.mark.parametrize("longest_sync_s", [0.0, 0.2])
def test_without_power_at_any_instant_all_older_than_a_second_is_there(tmp_path: Path, longest_sync_s: float) -> None:
    card, chance = Card(longest_sync_s), random.Random(11)  # noqa: S311
    journal = Journal(
        tmp_path / "r", card=CARD, rig=RIG, calibration=CAMERA, is_live=True, sync=card.sync, write=card.write
    )
    begun_ns = time.monotonic_ns()
    sent = record_for(journal, 3_000 * MS)
    ended_ns = time.monotonic_ns()
    journal.flush()
    files = {name: (journal.growing / name).read_bytes() for name in FILES}
    before = {p.name: p.read_bytes() for p in journal.growing.iterdir() if p.name not in FILES}
    journal.abandon()
    if sent.told_ns or sent.stood_still_ns > PROMISE_NS // 3:
        pytest.skip("this machine is too busy for a disk of this speed to keep up; that is told, as the promise has it")
    lost_ns = []
    for number in range(40):
        cut_ns = chance.randint(begun_ns, ended_ns)
        folder = tmp_path / f"{number}.unfinished"
        folder.mkdir()
        for name, data in before.items():
            (folder / name).write_bytes(data)
        platter(card, files, cut_ns, chance, folder)
        recording = load(folder)
        found = {("edge", edge.t_ns) for edge in recording.edges}
        found |= {("key", event.t_ns) for event in recording.events}
        seen = {one.t_ns: one.jpeg for one in recording.frames()}
        assert seen.items() <= sent.pictures.items(), "each with its own stamp"
        found |= {("frame", t_ns) for t_ns in seen}
        kinds = {Edge: "edge", Key: "key", Frame: "frame"}
        missing = [t_ns for t_ns, one in sent.records if (kinds[type(one)], one.t_ns) not in found and t_ns <= cut_ns]
        lost_ns.append(max((cut_ns - t_ns for t_ns in missing), default=0))
        assert lost_ns[-1] <= PROMISE_NS
        shutil.rmtree(folder)
    assert max(lost_ns) > 0, "a card without memory loses something"
    assert card.syncs_count < 250, "a card does not live for ever"
    print(f"{card.syncs_count} syncs in 3 s; lost at most the last {max(lost_ns) / 1e9:.3f} s")
