"""Lessons under power cuts: `python -m tests.bench.period [COUNT] [SEED] [LESSONS]` kills the program COUNT times.

Eight teams, three runs each, on simulated beams; so many LESSONS are led at once, as most of the time is waiting, and
share the kills. Instants are drawn by lot over starting, waiting, running, measuring and deciding. After each kill
everything that had been told to be safe must be in the log, and the lesson must go on exactly where it was; in the end
every team has its three runs.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from logger.lesson.standing import Standing
from tests.logger.lesson.test_desk_killed import killed_often


def main(kills_count: int, seed: int, lessons_count: int) -> None:
    begun_s = time.monotonic()
    shares = [kills_count // lessons_count + (n < kills_count % lessons_count) for n in range(lessons_count)]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(lessons_count) as pool:

        def led(number: int) -> tuple[Standing, int]:
            place = Path(folder) / str(number)
            place.mkdir()
            return killed_often(place, kills_count=shares[number], teams_count=8, repeats=3, seed=seed + number)

        found = list(pool.map(led, range(lessons_count)))
    attempts = [attempt for standing, _ in found for attempt in standing.attempts]
    for standing, _ in found:
        counted = Counter(attempt.team for attempt in standing.attempts if attempt.status == "valid")
        assert all(counted[team] == 3 for team in range(1, 9)), counted
    print(f"{kills_count} kills at random instants in {lessons_count} lessons, seed {seed}, "
          f"{time.monotonic() - begun_s:.0f} s")  # fmt: skip
    print(f"{len(attempts)} recordings begun: {dict(Counter(attempt.closing for attempt in attempts))}")
    print(f"{sum(promised for _, promised in found)} promises (kept, decided), all of them found again; every start "
          f"went on where the log had it; all {24 * lessons_count} runs are there, three of each team")  # fmt: skip


if __name__ == "__main__":
    numbers = [int(one) for one in sys.argv[1:]]
    main(*[*numbers, *(100, 1, 4)[len(numbers) :]])
