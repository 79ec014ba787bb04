"""Plays a film and edges into the devices of the machine at given times: the world, as a program of its own.

    replay.py PLAN.json

The plan: {"device", "width_px", "height_px", "frames": [[at_ns, file], …],
"edges": [[at_ns, file of the pull, high], …]}, times from the beginning. Says "ready" when pictures can be opened, and
begins when it is sent a line. Then says as JSON when it began, and for each frame and edge the two moments between
which it happened. It comes before all other programs on its processor, as the world would.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.hil.video import Loopback

PRIORITY = 20
"""Of SCHED_FIFO. Below that of the kernel's threads for interrupts, which is 50."""
LEAD_NS = 200_000_000
Happened = tuple[int, int]


def play(plan: dict[str, Any]) -> dict[str, Any]:
    """Wait for the word, then play to the end."""
    films = {name: Path(name).read_bytes() for _, name in plan["frames"]}
    pulls = {name: os.open(name, os.O_WRONLY) for _, name, _ in plan["edges"]}
    camera = Loopback.of(plan["device"]) if plan["frames"] else None
    if camera is not None:
        first = films[plan["frames"][0][1]]
        camera.begin_writing(first, width_px=plan["width_px"], height_px=plan["height_px"])
    happenings = [(at_ns, "frames", (name,)) for at_ns, name in plan["frames"]]
    happenings += [(at_ns, "edges", (name, high)) for at_ns, name, high in plan["edges"]]
    happenings.sort()
    print("ready", flush=True)
    sys.stdin.readline()
    os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(PRIORITY))
    begun_ns = time.monotonic_ns() + LEAD_NS
    done: dict[str, list[Happened]] = {"frames": [], "edges": []}
    pause = threading.Event()
    for at_ns, kind, words in happenings:
        while (left_ns := begun_ns + at_ns - time.monotonic_ns()) > 0:
            pause.wait(left_ns / 1e9)
        if kind == "frames" and camera is not None:
            done[kind].append(camera.write(films[words[0]]))
        else:
            before_ns = time.monotonic_ns()
            os.pwrite(pulls[words[0]], b"pull-up" if words[1] else b"pull-down", 0)
            done[kind].append((before_ns, time.monotonic_ns()))
    return {"begun_ns": begun_ns, **done}


if __name__ == "__main__":
    said = play(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    print(json.dumps(said), flush=True)
    sys.stdin.readline()  # the camera stays until its readers are done
