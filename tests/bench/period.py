"""A whole lesson under power cuts: `python -m tests.bench.period [COUNT] [SEED]` kills the program COUNT times.

Eight teams, three runs each, on simulated beams. After each kill, everything that had been told to be safe must be in
the log, and the lesson must go on where it was; in the end every team has its three runs.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.logger.lesson.test_desk_killed import killed_often


def main(kills_count: int, seed: int) -> None:
    begun_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        standing, promised = killed_often(Path(folder), kills_count=kills_count, teams_count=8, repeats=3, seed=seed)
    ends = Counter(attempt.closing for attempt in standing.attempts)
    counted = Counter(attempt.team for attempt in standing.attempts if attempt.status == "valid")
    assert all(count == 3 for count in counted.values()), counted
    print(f"{kills_count} kills at random instants, seed {seed}, {time.monotonic() - begun_s:.0f} s")
    print(f"{len(standing.attempts)} recordings begun: {dict(ends)}")
    print(
        f"{promised} promises (kept, decided), all of them found again; runs that count"
        f" by team: {dict(sorted(counted.items()))}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
