"""A whole period through the pages: `python -m tests.bench.pages [TEAMS] [REPEATS] [CUTS] [SEED] [--gates]`.

The rig of `boatrun demo --live` is served by a program of its own; a lesson is planned and led in a real browser, the
wall board open beside the teacher's page. Everything that can go wrong is thrown in: the tank's own mishaps (something
in the beam, a stuck boat, a hand, a camera unplugged, a touched boat, an arm behind the boat, a boat that turns back),
the browser is closed twice, and the power is cut: three times at chosen moments, and CUTS times at random ones. A
second, short lesson is begun by the word, and one of its boats does not wait for it.

Told are every run with what the pages said, and at the end three tables: how long after the finish the figure was
there, clicks and seconds of the teacher's hands, and each fault with the sentence that the page showed. In a short
period (fewer than 21 runs) the mishaps come one after the other. With --gates there is no camera, which costs no
painting.
"""

from __future__ import annotations

import itertools
import random
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from logger.cli.practice import MISHAPS, station
from logger.lesson.folder import Listed, lessons
from tests.bench.viewers import Viewer, finish_to_board_s, spread_told
from tests.browser.chromium import BROWSER
from tests.browser.period import RunNoted, Server, Teacher, Trouble, led, told
from tests.logger.lesson.practice import rig_file

TROUBLES = [
    Trouble("called", 3, "cut", 1.0), Trouble("running", 6, "close lesson", 0.5), Trouble("running", 9, "cut", 1.5),
    Trouble("running", 12, "close board", 0.5), Trouble("deciding", 13, "cut", 0.3),
]  # fmt: skip
FEW_TROUBLES = [Trouble("running", 2, "close lesson", 0.5), Trouble("running", 3, "cut", 1.5)]
WHOLE_COUNT = 21
"""So many runs have room for every mishap of the practice station."""
SAYS: Mapping[str, tuple[str, ...]] = {
    "early": ("early start", "early start"),
    "beam_blocked": ("beam blocked, armed all the same", "not armed"),
    "hand": ("hand in the beam", "hand", "broken 2 times", "early start"),
    "stuck": ("stuck boat", "stuck"),
    "camera_unplugged": ("camera unplugged", "camera is gone"),
    "turned_back": ("boat turned back", "turned back"),
    "touched": ("touched boat", "touched"),
    "broken_twice": ("beam broken twice", "broken 2 times"),
}
"""Mishap -> what it is called in the table, and parts of the sentences of which one tells it."""
CUT = "does not answer"
_MEAN_S = 12.0


def main(teams_count: int, repeats: int, cuts_count: int, seed: int, *, has_camera: bool) -> None:
    from playwright.sync_api import sync_playwright

    chance = random.Random(seed)  # noqa: S311 - moments of power cuts
    cuts_after_s = [chance.uniform(0.5, 2 * _MEAN_S) for _ in range(cuts_count)]
    is_whole = teams_count * repeats >= WHOLE_COUNT
    few = FEW_TROUBLES if teams_count * repeats >= len(FEW_TROUBLES) + 1 else []
    kinds = [what for what in MISHAPS.values() if what != "early"]
    mishaps = dict(MISHAPS) if is_whole else {"r2": "early"} | {f"r{n}": what for n, what in enumerate(kinds, 3)}
    if not has_camera:
        mishaps = {run: what for run, what in mishaps.items() if what not in ("camera_unplugged", "touched", "stuck")}
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        folder = Path(place)
        made = station(folder / "station", mishaps=mishaps) if has_camera else rig_file(folder, mishaps=mishaps)
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        server, begun_s = Server(made), time.monotonic()
        server.start()
        viewer, stop = Viewer(server.port), threading.Event()
        threading.Thread(target=viewer.watch, args=(stop,), daemon=True).start()
        teacher: Teacher | None = None
        late_s: list[float] = []
        faults: list[tuple[str, RunNoted, str]] = []
        try:
            for begin, teams, each in (("hands_off", teams_count, repeats), ("on_go", 2, 1)):
                plan(browser, server, teams_count=teams, repeats=each, begin=begin)
                teacher = teacher or Teacher(browser, server)
                before = len(teacher.noted)
                viewer.first_ns.clear()
                chosen = [] if begin == "on_go" or cuts_count else TROUBLES if is_whole else few
                led(teacher, chosen, cuts_after_s=cuts_after_s if begin == "hands_off" else (), lasts_s=5400,
                    each=partial(hurry, teacher))  # fmt: skip
                one = lessons(made.parent / "lessons")[0]
                late_s += itertools.chain(*finish_to_board_s(one, [viewer]).values())
                report(one, begin)
                faults += thrown_in(one, teacher.noted[before:], mishaps)
        finally:
            stop.set()
            server.end()
        tables(teacher, late_s=sorted(late_s), faults=faults, lasted_s=time.monotonic() - begun_s)


def plan(browser: Any, server: Server, *, teams_count: int, repeats: int, begin: str) -> None:
    """Plan the lesson on the page: each team with the card of a boat, if there are any."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{server.address}/lesson/new?kind=straight")
    page.fill("[name=rows]", str(teams_count))
    page.click("text=Make the rows")
    page.fill("[name=repeats]", str(repeats))
    page.select_option("[name=begin]", begin)
    cards = [one.get_attribute("value") for one in page.locator("[name=boat_1] option").all()][1:]
    for row, card in zip(range(1, teams_count + 1), cards, strict=False):
        page.select_option(f"[name=boat_{row}]", card)
    page.click("button.key:has-text('Begin the lesson')")
    page.wait_for_url("**/lesson")
    page.close()


def hurry(teacher: Teacher) -> None:
    """Tell how far it has come."""
    if len(teacher.noted) != hurry.told_count:  # type: ignore[attr-defined]
        hurry.told_count = len(teacher.noted)  # type: ignore[attr-defined]
        print(told(teacher.noted[-1:]), flush=True)


hurry.told_count = 0  # type: ignore[attr-defined]


def report(one: Listed, begin: str) -> None:
    """How every run of a lesson was classified."""
    assert one.standing is not None
    runs = [run for run in one.standing.attempts if run.state != "no_run"]
    off = [run for run in one.standing.attempts if run.state == "no_run"]
    print(f"\nbegun {begin.replace('_', ' ')}: {len(runs)} runs, and {len(off)} attempts in which none began "
          f"({', '.join(f'{run.run_id} {run.closing}' for run in off)})")  # fmt: skip
    for run in runs:
        print(f"  {run.run_id:4} team {run.team} run {run.round}  {run.closing!s:16} {run.status!s:16} {run.reason}")
    print("classified:", dict(Counter((run.closing, run.status) for run in runs)))
    counted = Counter(run.team for run in runs if run.status in ("valid", "freed", "did_not_finish"))
    print(f"runs that count by team: {dict(sorted(counted.items()))}; still owed: {len(one.standing.owed)}\n")


def thrown_in(one: Listed, noted: Sequence[RunNoted], mishaps: Mapping[str, str]) -> list[tuple[str, RunNoted, str]]:
    """What was thrown into a lesson, in which run, and what the page said to it; an attempt in which no run began is
    told with the run after it."""
    assert one.standing is not None
    waiting: list[str] = []
    by_run = {run.run_id: run for run in noted}
    found = []
    for attempt in one.standing.attempts:
        what = mishaps.get(attempt.run_id, "")
        if what and (what != "early" or one.standing.plan.begin == "on_go"):
            waiting.append(what)
        run = by_run.get(attempt.run_id)
        if run is None:
            continue
        found += [(SAYS[what][0], run, told_by(run, *SAYS[what][1:])) for what in waiting]
        waiting = []
        for done in run.thrown_in:
            said = told_by(run, CUT) if "cut" in done else "(nothing to be told: the page opened again shows the run)"
            found.append((done, run, said))
    return found


def told_by(run: RunNoted, *parts: str) -> str:
    """The sentence of a run in which one of them stands."""
    return next((one for one in run.said for part in parts if part in one), "NOT TOLD")


def tables(
    teacher: Teacher | None, *, late_s: Sequence[float], faults: Sequence[tuple[str, RunNoted, str]], lasted_s: float
) -> None:
    """What must be shown."""
    assert teacher is not None
    hands, clicks = [run.hands_s for run in teacher.noted], [run.clicks_count for run in teacher.noted]
    print(f"{len(teacher.noted)} runs led in {lasted_s / 60:.1f} min")
    if late_s:
        print(spread_told(late_s))
    print(f"clicks a run: median {statistics.median(clicks):g}, most {max(clicks)}; seconds of hands: median "
          f"{statistics.median(hands):.1f}, most {max(hands):.1f}")  # fmt: skip
    if teacher.taken_up_s:
        ordered = sorted(teacher.taken_up_s)
        print(f"{len(ordered)} power cuts; lesson on both pages after: median {statistics.median(ordered):.1f} s, "
              f"longest {ordered[-1]:.1f} s")  # fmt: skip
    print(f"the teacher's page loaded itself anew {teacher.reloads_count} times; complaints of the browser: "
          f"{teacher.complaints or 'none'}")  # fmt: skip
    print("\n| thrown in | run | what the page said | decided |\n|---|---|---|---|")
    for what, run, said in faults:
        print(f"| {what} | {run.run_id} | {said} | {run.decided} |")
    print(f"\n{sum(said == 'NOT TOLD' for _, _, said in faults)} of {len(faults)} faults were not told")


if __name__ == "__main__":
    numbers = [int(one) for one in sys.argv[1:] if one.isdigit()]
    teams, runs_each, random_cuts, first = [*numbers, *(8, 3, 0, 1)[len(numbers) :]]
    main(teams, runs_each, random_cuts, first, has_camera="--gates" not in sys.argv)
