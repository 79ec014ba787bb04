"""Starts the world of a test (replay.py) and tells what happened when."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

REPLAY = Path(__file__).with_name("replay.py")


@dataclass(frozen=True, slots=True)
class Happened:
    """When it was played; windows are (before_ns, after_ns)."""

    begun_ns: int
    frames: tuple[tuple[int, int], ...]
    edges: tuple[tuple[int, int], ...]


class World:
    """A world that waits for the word."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline()

    def wait_until_ready(self) -> None:
        """Return when its camera can be opened."""
        assert self._line() == "ready\n"

    def begin(self) -> None:
        """Let it play."""
        assert self._process.stdin is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()

    def played(self) -> Happened:
        """Wait until it has played to the end."""
        said: dict[str, Any] = json.loads(self._line())
        frames, edges = (tuple((before, after) for before, after in said[kind]) for kind in ("frames", "edges"))
        return Happened(int(said["begun_ns"]), frames, edges)


@contextmanager
def world(
    folder: Path,
    *,
    device: str = "",
    size_px: tuple[int, int] = (0, 0),
    frames: Sequence[tuple[int, Path]] = (),
    edges: Sequence[tuple[int, str, bool]] = (),
) -> Iterator[World]:
    """A world that is to play these frames (when, which JPEG) and edges (when, which pull, high); times from its begin.

    Args:
        folder: where the plan is written.
        device: the loopback device that takes the frames.
        size_px: width and height of all frames.
        frames: in order of time.
        edges: in order of time.
    """
    plan = {
        "device": device,
        "width_px": size_px[0],
        "height_px": size_px[1],
        "frames": [(at_ns, str(path)) for at_ns, path in frames],
        "edges": list(edges),
    }
    file = folder / "plan.json"
    file.write_text(json.dumps(plan), encoding="utf-8")
    command = [sys.executable, str(REPLAY), str(file)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        made = World(process)
        try:
            made.wait_until_ready()
            yield made
        finally:
            process.kill()
