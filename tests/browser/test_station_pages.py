"""The station's pages in a real browser, in every state of a lesson and every size of screen: read, pressed, judged.

Nobody works the rig but the test. With BOATRUN_SHOTS=FOLDER pictures of every page are kept there, to be looked at.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import uvicorn

from calibration.files import load_view
from logger.lesson.desk import Desk
from logger.records import Frame
from logger.web.app import build
from logger.web.server import opened
from tests.browser.chromium import axe_found
from tests.browser.conftest import slowed
from tests.browser.person import Person
from tests.browser.test_calibration_pages import PAGES
from tests.logger.cli.test_calibrate_plane import RIG
from tests.logger.lesson.lessons import Hands, trial
from tests.logger.lesson.practice import rig_file as practice_rig
from tests.logger.web.test_app import every_route

pytestmark = pytest.mark.browser
HERE = "127.0.0.1"
OTHERS = ("teams", "sofar", "stored", "rig", "study", "experiments", "lesson/new")
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "low": (1280, 720), "wall": (1920, 1080)}
WITHIN_MS = 30_000


@dataclass
class Station:
    """Pages, and those who work their rig."""

    address: str
    hands: list[Hands] = field(default_factory=list)

    def runs(self, time_s: float = 4.312, **more: Any) -> str:
        """What was armed is run to its end and measured."""
        hands = self.hands[-1]
        assert hands.job is not None
        hands.happens("armed", "started", t_ns=time.monotonic_ns())
        hands.happens("ended:finish")
        hands.keeps()
        hands.tells(trial(hands.job.card.id, time_s=time_s, **more))
        return hands.job.card.id


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    made = Station("")
    with working(tmp_path / "rig.toml", made):
        yield made


@contextmanager
def working(rig: Path, made: Station) -> Iterator[None]:
    """The pages of that rig are served meanwhile, at `made.address`."""

    def crew(store: Path, desk: Desk) -> Hands:
        made.hands.append(Hands(store, desk))
        return made.hands[-1]

    app = build(rig, pin=None, now=lambda: datetime.now().astimezone(), crew=crew)
    with opened(HERE, 0) as at:
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", ws="none", timeout_graceful_shutdown=1))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [at]})
        thread.start()
        made.address = f"http://{HERE}:{at.getsockname()[1]}"
        yield
        server.should_exit = True
        thread.join(20)


def judged(page: Any, name: str, *, sizes: Sequence[str] = tuple(SIZES)) -> None:
    """At these sizes: nothing sticks out to the side, and nobody is kept from using it."""
    folder = os.environ.get("BOATRUN_SHOTS")
    for size in sizes:
        width, height = SIZES[size]
        page.set_viewport_size({"width": width, "height": height})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{name}, {size}: {wide} px in {width}"
        if folder:
            page.screenshot(path=str(Path(folder) / f"{name}-{size}.png"), full_page="board" not in name)
    page.set_viewport_size({"width": 390, "height": 844})
    found = axe_found(page)["violations"]
    serious = [
        (one["id"], [node["html"][:120] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]
    assert serious == [], name


def begun(page: Any, station: Station) -> Hands:
    page.goto(f"{station.address}/lesson/new?kind=straight")
    page.click("button.key:has-text('Begin the lesson')")
    page.wait_for_url("**/lesson")
    return station.hands[-1]


def state(page: Any, wanted: str) -> None:
    page.locator(f".state.{wanted}").wait_for(timeout=WITHIN_MS)


def pressed(page: Any, hands: Hands, *keys: str) -> None:
    """These have reached the rig by now, in this order."""
    while hands.pressed != list(keys) and len(hands.pressed) < len(keys):
        page.wait_for_timeout(20)
    assert hands.pressed == list(keys)


def test_a_lesson_is_planned_in_two_minutes(page: Any, station: Station) -> None:
    """From a template with ten named teams and their masses, by the keystroke-level model (see person.py)."""
    person = Person(page)
    page.goto(station.address)
    person.click("text=Straight run")
    person.type("rows", "10")
    person.click("text=Make the rows")
    person.click("button.key:has-text('Begin the lesson')")
    page.wait_for_url("**/lesson")
    print(person.told())
    assert person.clicks_count <= 6
    assert person.minutes < 2
    assert len(station.hands[-1].desk.standing.teams) == 10  # type: ignore[union-attr]
    assert page.complaints == []


def test_a_run_is_led_by_keys_alone_and_seen_on_the_wall(page: Any, browser: Any, station: Station) -> None:
    hands = begun(page, station)
    wall = browser.new_page(viewport={"width": 1920, "height": 1080})
    wall.goto(f"{station.address}/board")
    page.keyboard.press("Space")
    state(page, "ready")
    hands.happens("armed")
    state(wall, "armed")
    state(page, "armed")
    page.keyboard.press("g")
    pressed(page, hands, "go")
    hands.happens("started", t_ns=time.monotonic_ns() - 2_000_000_000)
    state(wall, "running")
    first = float(wall.locator("[data-clock]").inner_text())
    wall.wait_for_function("(before) => Number(document.querySelector('[data-clock]').textContent) > before", arg=first)
    assert 2.0 <= first < 12.0
    state(page, "running")
    page.keyboard.press("f")
    pressed(page, hands, "go", "freed")
    hands.happens("ended:finish")
    hands.keeps()
    hands.tells(trial("r1", time_s=4.312, flags=("the water moved",)))
    wall.locator("text=4.312").wait_for(timeout=WITHIN_MS)
    state(page, "deciding")
    page.keyboard.press("v")
    page.keyboard.press("r")
    page.keyboard.press("1")
    wall.locator("text=void").wait_for(timeout=WITHIN_MS)
    state(page, "called")
    attempt = hands.desk.standing.attempts[0]  # type: ignore[union-attr]
    assert (attempt.status, attempt.reason, attempt.again) == ("void", "hand in the beam", "last")
    page.keyboard.press("u")
    state(page, "deciding")
    page.keyboard.press("k")
    state(page, "called")
    assert hands.desk.standing.attempts[0].status == "valid"  # type: ignore[union-attr]
    assert page.complaints == []
    wall.close()


def test_a_count_is_typed_beside_the_decision_and_outlives_what_comes_meanwhile(page: Any, station: Station) -> None:
    page.goto(f"{station.address}/lesson/new?kind=cargo")
    page.click("button.key:has-text('Begin the lesson')")
    page.wait_for_url("**/lesson")
    hands = station.hands[-1]
    page.keyboard.press("Space")
    state(page, "ready")
    hands.happens("armed", "released", "started", t_ns=time.monotonic_ns())
    hands.happens("ended:time_cap")
    hands.keeps()
    state(page, "deciding")
    page.fill("#count", "7")
    hands.tells(trial("r1", results={}, status="freed"))
    page.locator("#k-freed.proposed").wait_for(timeout=WITHIN_MS)
    assert page.input_value("#count") == "7", "the keys were drawn anew, what was typed stays"
    judged(page, "lesson-counting")
    page.press("#count", "Enter")
    page.locator(".came:has-text('pieces of cargo')").wait_for(timeout=WITHIN_MS)
    state(page, "deciding")
    page.fill("#count", "8")
    page.click("#k-keep")
    state(page, "called")
    attempt = hands.desk.standing.attempts[0]  # type: ignore[union-attr]
    assert (attempt.counts, attempt.status) == ({"cargo": 8}, "valid")
    assert page.complaints == []


def test_a_double_tap_decides_one_run(page: Any, station: Station) -> None:
    hands = begun(page, station)
    page.keyboard.press("Space")
    state(page, "ready")
    station.runs()
    state(page, "deciding")
    page.locator("#k-keep").dblclick()
    state(page, "called")
    assert [one.status for one in hands.desk.standing.attempts] == ["valid"]  # type: ignore[union-attr]
    assert page.locator("#wrong li").count() == 0


def test_over_a_poor_network_what_is_pressed_before_the_last_answer_is_not_lost(page: Any, station: Station) -> None:
    """The new state comes while the answer is still on its way; whoever acts on what they see is not to press twice."""
    hands = begun(page, station)
    page.keyboard.press("Space")
    state(page, "ready")
    station.runs()
    state(page, "deciding")
    slowed(page, 700.0)
    page.keyboard.press("k")
    page.keyboard.press("k")
    state(page, "called")
    assert page.locator("#live[aria-busy]").count() == 1, "else nothing is on its way, and this test says nothing"
    page.keyboard.press("Space")
    state(page, "ready")
    page.locator("#live:not([aria-busy])").wait_for(timeout=WITHIN_MS)
    assert [one.status for one in hands.desk.standing.attempts] == ["valid", None]  # type: ignore[union-attr]
    assert page.locator("#wrong li").count() == 0


def test_without_scripts_everything_can_be_pressed(browser: Any, station: Station) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    hands = begun(page, station)
    page.click("#k-arm")
    station.runs()
    page.goto(f"{station.address}/lesson")
    page.click("summary:has-text('Void')")
    page.click("button:has-text('gust or draught')")
    assert hands.desk.standing.attempts[0].reason == "gust or draught"  # type: ignore[union-attr]
    page.goto(f"{station.address}/board")
    assert "void" in page.inner_text("main")
    context.close()


def test_every_state_at_every_size_can_be_used_by_everybody(page: Any, station: Station) -> None:
    page.goto(f"{station.address}/lesson/new?kind=drift")
    judged(page, "plan")
    hands = begun(page, station)
    hands.sees(A="clear", B="clear")

    def both(name: str) -> None:
        for path in ("board", "lesson"):
            page.goto(f"{station.address}/{path}")
            judged(page, f"{path}-{name}")

    both("called")
    hands.sees(A="blocked", B="clear")
    both("blocked")
    hands.sees(A="clear", B="clear")
    page.keyboard.press("Space")
    state(page, "ready")
    hands.happens("armed")
    both("armed")
    hands.happens("started", t_ns=time.monotonic_ns())
    both("running")
    hands.happens("ended:finish")
    hands.keeps()
    hands.tells(trial("r1", flags=("the water moved", "a gap of 0.4 s in the pictures")))
    both("deciding")
    page.keyboard.press("k")
    state(page, "called")
    page.keyboard.press("Space")
    state(page, "ready")
    station.runs(3.2)
    state(page, "deciding")
    page.keyboard.press("d")
    state(page, "called")
    page.click("text=Show the order on the board")
    page.locator("text=Hide the order on the board").wait_for(timeout=WITHIN_MS)
    both("order")
    page.click("text=Pause")
    state(page, "paused")
    both("paused")
    for path in OTHERS:
        page.goto(f"{station.address}/{path}")
        judged(page, path.replace("/", "-"))
    hands.desk.end()  # type: ignore[union-attr]
    both("over")
    assert page.complaints == []
    assert {url.split("/")[2] for url in page.asked} == {station.address.split("/")[2]}, "asks nobody else"


def test_every_page_in_spanish_can_be_used_by_everybody(browser: Any, station: Station) -> None:
    """Its words are longer, and each is read aloud in the language that it is in."""
    context = browser.new_context(locale="es-ES", viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(f"{station.address}/lesson/new?kind=drift")
    page.click("button.key:has-text('Empezar la clase')")
    page.wait_for_url("**/lesson")
    hands = station.hands[-1]
    hands.sees(A="blocked", B="clear")
    page.locator("text=tapado").first.wait_for(timeout=WITHIN_MS)
    for path in ("lesson", "board", *OTHERS, *(path.strip("/") for path in PAGES)):
        page.goto(f"{station.address}/{path}")
        assert page.get_attribute("html", "lang") == "es", path
        judged(page, f"es-{path}".replace("/", "-").replace("?", "-"), sizes=("phone", "tablet"))
    hands.sees(A="clear", B="clear")
    page.goto(f"{station.address}/lesson")
    page.keyboard.press("Space")
    state(page, "ready")
    hands.happens("armed", "started", t_ns=time.monotonic_ns())
    hands.happens("ended:finish")
    hands.keeps()
    hands.tells(trial("r1", flags=("the water moved",)))
    state(page, "deciding")
    page.keyboard.press("v")
    for path in ("lesson", "board"):
        page.goto(f"{station.address}/{path}")
        judged(page, f"es-{path}-deciding", sizes=("phone", "tablet", "wall"))
    context.close()


def test_every_page_of_the_rig_is_among_those_that_are_judged(tmp_path: Path) -> None:
    """Whoever adds one; pages of one thing alone (a card, a result) are judged with the steps of calibration."""
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    there = {
        route.path for route in every_route(tmp_path / "rig.toml")
        if "GET" in (route.methods or ()) and "{" not in route.path
        and not route.path.endswith(("events", ".json", ".svg", ".jpg"))
    }  # fmt: skip
    seen = {f"/{path}" for path in (*OTHERS, "board", "lesson")} | {path.partition("?")[0] for path in PAGES}
    assert there - seen == {"/"}, "which leads on to another page"


def camera_goes_on(hands: Any, grey: Any) -> threading.Event:
    """Pictures until the event is set: a single one is too old after a few seconds."""
    enough = threading.Event()

    def feed() -> None:
        while not enough.wait(0.2):
            hands.newest = Frame(time.monotonic_ns(), grey, 1, "camera")

    threading.Thread(target=feed, daemon=True).start()
    return enough


def test_what_the_camera_sees_is_shown_anew_and_its_silence_is_said(page: Any, browser: Any, tmp_path: Path) -> None:
    made = Station("")
    with working(practice_rig(tmp_path, has_camera=True), made):
        hands = begun(page, made)
        lens = load_view(tmp_path / "camera.toml").lens
        grey = np.full((lens.height_px, lens.width_px, 3), 150, np.uint8)
        hands.newest = Frame(time.monotonic_ns(), grey, 0, "camera")
        page.goto(f"{made.address}/rig")
        judged(page, "rig-camera")
        first = page.locator("#picture img").get_attribute("src")
        fed = camera_goes_on(hands, grey)
        page.wait_for_function("(old) => document.querySelector('#picture img').getAttribute('src') !== old", arg=first)
        assert page.locator("#picture img").evaluate("(one) => one.naturalWidth") == lens.width_px
        hands.sees(**{"start-gate": "blocked"})
        page.locator(".light.blocked").wait_for(timeout=WITHIN_MS)
        fed.set()
        hands.newest = None
        page.locator("[data-silent]:not([hidden])").wait_for(timeout=WITHIN_MS)
        fed = camera_goes_on(hands, grey)
        page.locator("[data-silent]").wait_for(state="hidden", timeout=WITHIN_MS)
        fed.set()
    assert [one for one in page.complaints if "404" not in one] == []


def test_targets_for_a_thumb_are_large(page: Any, station: Station) -> None:
    """48 px, more than the 44 of WCAG 2.2, 2.5.5."""
    begun(page, station)
    page.set_viewport_size({"width": 390, "height": 844})
    page.keyboard.press("Space")
    state(page, "ready")
    station.runs()
    state(page, "deciding")
    page.keyboard.press("v")
    for box in [one.bounding_box() for one in page.locator(".desk button:visible, .desk summary:visible").all()]:
        if box is not None and box["width"] > 2:
            assert box["height"] >= 48, box


def test_the_wall_fits_its_screen_and_is_read_from_afar(page: Any, station: Station) -> None:
    """Digits of 40 mm on a picture of 1.5 m width (common practice, no source): 51 px of 1920."""
    begun(page, station)
    page.keyboard.press("Space")
    state(page, "ready")
    station.runs()
    page.goto(f"{station.address}/board")
    for width, height in ((1920, 1080), (1280, 720)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollHeight") <= height
        size_px = page.locator(".came .value").evaluate("(one) => parseFloat(getComputedStyle(one).fontSize)")
        assert 0.7 * size_px >= 51 * width / 1920, "digits are about 0.7 of the type's size"
    desk = station.hands[-1].desk
    assert desk is not None
    desk.decide("valid")
    for number in range(15):  # two runs of every team
        desk.arm()
        station.runs(4.3 + number % 8 / 5 + number % 3 / 50)
        desk.decide("valid")
    desk.show_ranking(True)
    page.locator(".ranking .doubt").nth(7).wait_for(timeout=WITHIN_MS)
    for name, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollHeight") <= height, f"{name}, with the order"
        assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{name}, with the order"
        if folder := os.environ.get("BOATRUN_SHOTS"):
            page.screenshot(path=str(Path(folder) / f"fits-{name}.png"))


def test_where_motion_is_not_wanted_the_clock_counts_whole_seconds(browser: Any, station: Station) -> None:
    context = browser.new_context(reduced_motion="reduce")
    page = context.new_page()
    hands = begun(page, station)
    page.keyboard.press("Space")
    state(page, "ready")
    hands.happens("armed", "started", t_ns=time.monotonic_ns())
    state(page, "running")
    shown = []
    for _ in range(30):
        page.wait_for_timeout(100)
        shown.append(page.locator("[data-clock]").inner_text())
    assert all(text.isdecimal() for text in shown[10:]), shown
    assert len(set(shown)) >= 3, shown
    context.close()
