"""What does measuring a season cost? Time and memory of `boatrun measure` against the number of recordings.

    python -m tests.bench.archive                               # 10, 20, 40, 80 recordings with pictures
    python -m tests.bench.archive --counts 50,100,200 --blind   # beams alone: what all but the pictures costs

A few short simulated recordings, each standing in the archive many times: its raw files are hard links, its name is its
own. Every archive is measured by the command itself in a process of its own, as people would; memory is the greatest of
that process and of the largest of those that measure, as the kernel counts it (VmHWM: pages that copies share count
in each).
"""

from __future__ import annotations

import argparse
import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

from logger.simulator import DEVELOPMENT_SEED, simulate

_LOOK_EVERY_S = 0.1
_MADE_COUNT = 3
_RAW = ("edges.csv", "events.csv", "frames.csv", "video.avi", "video.mkv", "video.mp4")


def made(folder: Path, *, blind: bool) -> list[Path]:
    """A few recordings in `folder`."""
    found = []
    for number in range(_MADE_COUNT):
        one = folder / f"made-{number}"
        simulate(
            one, tier="easy", kind="straight", seed=DEVELOPMENT_SEED + 2 * number + 1, tank_length_mm=900.0,
            speed_mm_per_s=400.0,
        )  # fmt: skip
        if blind:
            for seen in [*one.glob("video.*"), *one.glob("frames.csv")]:
                seen.unlink()
        found.append(one)
    return found


def archive(folder: Path, models: list[Path], count: int) -> None:
    """`count` recordings in the new folder `folder`."""
    for number in range(count):
        model, one = models[number % len(models)], folder / f"run-{number:05}"
        one.mkdir(parents=True)
        for file in model.iterdir():
            (os.link if file.name in _RAW else shutil.copyfile)(file, one / file.name)
        card = one / "recording.toml"
        text, changed = re.subn(r'^id = ".*"$', f'id = "{one.name}"', card.read_text(encoding="utf-8"), flags=re.M)
        if changed != 1:
            raise SystemExit(f"{card}: found {changed} lines with an id; wanted one")
        card.write_text(text, encoding="utf-8")


def measured(folder: Path, *, processes: int) -> dict[str, float]:
    """What `boatrun measure` takes for it."""
    begun, spent = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "logger", "measure", str(folder), "--processes", str(processes)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as child:
        main_mb = worker_mb = 0.0
        while child.returncode is None:
            main_mb = max(main_mb, _greatest_mb(child.pid))
            worker_mb = max([worker_mb, *(_greatest_mb(pid) for pid in _below(child.pid))])
            with suppress(subprocess.TimeoutExpired):
                child.wait(_LOOK_EVERY_S)
    if child.returncode:
        raise SystemExit(f"boatrun measure ended with status {child.returncode}")
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    count = sum(1 for _ in folder.glob("*/trial.json"))
    processor_s = used.ru_utime + used.ru_stime - spent.ru_utime - spent.ru_stime
    return {
        "recordings": count, "wall_s": time.monotonic() - begun, "processor_s": processor_s,
        "processor_s_each": processor_s / count, "main_mb": main_mb, "worker_mb": worker_mb,
    }  # fmt: skip


def _greatest_mb(pid: int) -> float:
    """The most memory that a process ever had; 0 if it is gone."""
    try:
        text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return 0.0
    found = re.search(r"^VmHWM:\s+(\d+) kB", text, re.M)
    return int(found[1]) / 1024 if found else 0.0


def _below(pid: int) -> list[int]:
    """The children of a process, and theirs."""
    try:
        own = [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()]
    except OSError:
        return []
    return [*own, *(far for near in own for far in _below(near))]


def main(arguments: list[str]) -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--counts", default="10,20,40,80", help="so many recordings; commas between")
    parser.add_argument("--blind", action="store_true", help="without pictures")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--json", type=Path, default=None, metavar="FILE")
    asked = parser.parse_args(arguments)
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        models = made(Path(scratch), blind=asked.blind)
        for count in map(int, asked.counts.split(",")):
            folder = Path(scratch) / f"archive-{count}"
            archive(folder, models, count)
            row = measured(folder, processes=asked.processes)
            rows.append(row)
            print(
                f"{row['recordings']:6.0f} recordings {row['processor_s']:8.1f} s of processor, "
                f"{row['processor_s_each']:6.2f} s each, {row['wall_s']:7.1f} s; "
                f"command {row['main_mb']:5.0f} MB, each worker {row['worker_mb']:5.0f} MB", flush=True,
            )  # fmt: skip
            shutil.rmtree(folder)
    if asked.json is not None:
        asked.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
