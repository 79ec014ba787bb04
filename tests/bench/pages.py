"""A whole period through the pages: `python -m tests.bench.pages [TEAMS] [REPEATS] [CUTS] [SEED] [--gates]`.

The rig of `boatrun demo --live` is served by a program of its own; a lesson is planned and led in a real browser, the
wall board open beside the teacher's page. The tank's own mishaps are thrown in (something in the beam, a stuck boat, a
hand, a camera unplugged, a touched boat), the browser is closed twice, and the power is cut: three times at chosen
moments, and CUTS times at random ones. Told are every run with what the pages said, clicks and seconds of the teacher's
hands, and how long the pages took to go on after each cut. With --gates there is no camera, which costs no painting.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from logger.cli.practice import MISHAPS, station
from logger.lesson.folder import lessons
from tests.browser.chromium import BROWSER
from tests.browser.period import Server, Teacher, Trouble, led, told
from tests.logger.lesson.practice import rig_file

TROUBLES = [
    Trouble("called", 3, "cut", 1.0), Trouble("running", 6, "close lesson", 0.5), Trouble("running", 9, "cut", 1.5),
    Trouble("running", 12, "close board", 0.5), Trouble("deciding", 13, "cut", 0.3),
]  # fmt: skip
_MEAN_S = 12.0


def main(teams_count: int, repeats: int, cuts_count: int, seed: int, *, has_camera: bool) -> None:
    from playwright.sync_api import sync_playwright

    chance = random.Random(seed)  # noqa: S311 - moments of power cuts
    cuts_after_s = [chance.uniform(0.5, 2 * _MEAN_S) for _ in range(cuts_count)]
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        made = station(Path(place) / "station") if has_camera else rig_file(Path(place), mishaps=dict(MISHAPS))
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox", "--disable-gpu"])
        server, begun_s = Server(made), time.monotonic()
        server.start()
        try:
            plan(browser, server, teams_count=teams_count, repeats=repeats)
            teacher = Teacher(browser, server)
            troubles = TROUBLES if teams_count * repeats >= 15 and not cuts_count else []
            led(teacher, troubles, cuts_after_s=cuts_after_s, lasts_s=5400, each=lambda: hurry(teacher))
        finally:
            server.end()
        report(teacher, made.parent, lasted_s=time.monotonic() - begun_s)


def plan(browser: Any, server: Server, *, teams_count: int, repeats: int) -> None:
    """Plan the lesson on the page: each team with the card of a boat, if there are any."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{server.address}/lesson/new?kind=straight")
    page.fill("[name=rows]", str(teams_count))
    page.click("text=Make the rows")
    page.fill("[name=repeats]", str(repeats))
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


def report(teacher: Teacher, place: Path, *, lasted_s: float) -> None:
    one = lessons(place / "lessons")[0]
    assert one.standing is not None
    runs = [run for run in one.standing.attempts if run.state != "no_run"]
    print(f"{len(runs)} runs and {len(one.standing.attempts) - len(runs)} called off in {lasted_s / 60:.1f} min")
    for run in runs:
        print(f"  {run.run_id:4} team {run.team} run {run.round}  {run.closing!s:12} {run.status!s:15} {run.reason}")
    print("classified:", dict(Counter((run.closing, run.status) for run in runs)))
    counted = Counter(run.team for run in runs if run.status in ("valid", "freed", "did_not_finish"))
    print(f"runs that count by team: {dict(sorted(counted.items()))}; still owed: {len(one.standing.owed)}")
    hands = [run.hands_s for run in teacher.noted]
    clicks = [run.clicks_count for run in teacher.noted]
    print(f"clicks a run: median {statistics.median(clicks):g}, most {max(clicks)}; seconds of hands: median "
          f"{statistics.median(hands):.1f}, most {max(hands):.1f}")  # fmt: skip
    if teacher.taken_up_s:
        ordered = sorted(teacher.taken_up_s)
        print(f"{len(ordered)} power cuts; lesson on both pages after: median {statistics.median(ordered):.1f} s, "
              f"longest {ordered[-1]:.1f} s")  # fmt: skip
    print(f"the teacher's page loaded itself anew {teacher.reloads_count} times; complaints of the browser: "
          f"{teacher.complaints or 'none'}")  # fmt: skip


if __name__ == "__main__":
    numbers = [int(one) for one in sys.argv[1:] if one.isdigit()]
    teams, runs_each, random_cuts, first = [*numbers, *(8, 3, 0, 1)[len(numbers) :]]
    main(teams, runs_each, random_cuts, first, has_camera="--gates" not in sys.argv)
