"""A study pack in a real browser, opened from its folder: moved, measured, kept and looked at, at three sizes.

With BOATRUN_SHOTS=FOLDER pictures of the pages are kept there, to be looked at by a person.
"""

from __future__ import annotations

import os
import re
import zlib
from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from logger.study.bands import rounded
from logger.study.class_folder import read_class
from logger.study.pack.writing import pack
from tests.browser.chromium import axe_found
from tests.logger.study.invented_class import Sail, along_mm, speed_mm_per_s, track_of, write_class

pytestmark = pytest.mark.browser
SIZES = {"wide": (1280, 900), "tablet": (820, 1100), "narrow": (390, 844)}
LOOKED_AT = (
    ("2-3", "narrow"),
    ("2-3", "tablet"),
    ("4-5", "tablet"),
    ("4-5", "wide"),
    ("6-8", "wide"),
    ("6-8", "narrow"),
)
"""Ages and sizes, every one of each."""
NEXT_FRAME = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
STRAIGHT, DRIFT = "s1-r001", "s1-r045"
HERON = Sail("Heron", "drift", 2, 250.0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pack of the invented class, and beside it one run whose track has 100,000 moments."""
    lesson = write_class(tmp_path_factory.mktemp("lesson"))
    made = tmp_path_factory.mktemp("pack")
    for name, text in pack(read_class(lesson, name="Room 12"), band="4-5").items():
        (made / name).write_text(text, encoding="utf-8")
    (lesson / "recordings" / DRIFT / "track.csv").write_text(track_of(HERON, rate_hz=14_000.0), encoding="utf-8")
    long = pack(read_class(lesson, name="Room 12"), band="6-8")[f"{DRIFT}.html"]
    (made / "long.html").write_text(long, encoding="utf-8")
    return made


@pytest.fixture
def page(page: Any) -> Iterator[Any]:
    """A window in which no page complains, and none asks for anything outside."""
    yield page
    assert page.complaints == []
    assert [url for url in page.asked if not url.startswith(("file://", "blob:"))] == [], "nothing is asked for outside"


def opened(page: Any, folder: Path, name: str, band: str = "4-5") -> Any:
    page.goto(f"{(folder / name).as_uri()}.html#band={band}")
    return page


def move_to(page: Any, t_s: float) -> None:
    page.evaluate(f"e = document.getElementById('time'); e.value = {t_s}; e.dispatchEvent(new Event('input'))")
    page.evaluate(NEXT_FRAME)


def place_of(page: Any, what: str) -> tuple[float, float]:
    """Where a dot is in its drawing, px."""
    told = page.locator(what).get_attribute("transform")
    x, y = re.findall(r"-?[\d.]+", told)
    return float(x), float(y)


def until(condition: str) -> str:
    """A function that waits in the page, as its policy forbids code made of text, until `condition` holds."""
    again = f"const f = () => ({condition}) ? done(true) : requestAnimationFrame(f)"
    return f"(told) => new Promise((done) => {{ {again}; f(); }})"


def kept_shot(page: Any, name: str) -> None:
    if shots := os.environ.get("BOATRUN_SHOTS"):
        page.screenshot(path=str(Path(shots) / f"{name}.png"), full_page=True)


def test_one_handle_moves_the_dot_on_the_map_and_on_both_graphs_to_where_the_boat_truly_was(
    folder: Path, page: Any
) -> None:
    opened(page, folder, DRIFT, "6-8")
    page.click("#see")
    for t in (0.5, 1.5, 3.0, 5.0):
        move_to(page, t)
        far, fast = place_of(page, "#far .now"), place_of(page, "#fast .now")
        assert far[0] == pytest.approx(fast[0], abs=0.02), "the graphs share their time"
        told = [page.locator(f"#read-{name}").inner_text() for name in ("along", "speed")]
        along, speed = (float(text.split("\u00a0")[0]) for text in told)
        assert along == pytest.approx(along_mm(HERON, t) / 1000, abs=0.0008)
        assert speed == pytest.approx(speed_mm_per_s(HERON, t) / 1000, abs=0.004)
        wide, left, right = (
            page.evaluate(f"boatrun.data.run.{what}") for what in ("axes.time", "axes.along", "tank.outline")
        )
        assert wide[0] < t < wide[1]
        assert left[0] <= 0
        assert len(right) == 4
    move_to(page, 1.0)
    first = place_of(page, "#map .now")
    move_to(page, 2.0)
    second = place_of(page, "#map .now")
    grid = page.evaluate("""() => [...document.querySelectorAll("#map .grid")].map((l) => l.getAttribute("d"))
      .filter((d) => d.includes("V")).map((d) => Number(d.slice(1).split(",")[0]))""")
    per_mm = (grid[1] - grid[0]) / 100
    assert second[0] - first[0] == pytest.approx(250.0 * per_mm, abs=0.5), "250 mm in that second, to scale"


def test_the_division_on_the_page_done_by_hand_gives_the_shown_speed(folder: Path, page: Any) -> None:
    for run, band in ((STRAIGHT, "4-5"), (STRAIGHT, "6-8"), (DRIFT, "4-5"), (DRIFT, "6-8")):
        opened(page, folder, run, band)
        for a, b in ((0.31, 1.77), (0.5, 2.23), (1.13, 3.4)):
            move_to(page, a)
            page.click("#point-a")
            move_to(page, b)
            page.click("#point-b")
            told = page.locator("#slope").inner_text()
            d2, d1, distance, t2, t1, time, _d, _t, speed = (Decimal(x) for x in re.findall(r"\d+(?:\.\d+)?", told))
            assert d2 - d1 == distance
            assert t2 - t1 == time
            assert rounded(distance / time, -speed.as_tuple().exponent) == speed, told
            page.click("#slope-compare")
            mean = float(re.findall(r"[\d.]+", page.locator("#slope-said").inner_text())[0])
            assert mean == pytest.approx(float(speed), rel=0.02), "hand and tool agree"


def test_the_result_table_agrees_with_the_boats_true_speed(folder: Path, page: Any) -> None:
    """240 mm/s over 1 m: 4.1667 s; from the page 100.0 cm ÷ 4.17 s, by hand 24.0 cm/s."""
    opened(page, folder, STRAIGHT)
    page.click("#h-tool")
    assert "100.0 cm ÷ 4.17 s = 24.0 cm/s" in page.locator("main").inner_text().replace("\u00a0", " ")


def test_the_speed_is_not_seen_before_something_is_said(folder: Path, page: Any) -> None:
    opened(page, folder, DRIFT)
    assert not page.locator("#fast").is_visible()
    assert page.locator("#read-speed").inner_text() == "–"
    move_to(page, 1.0)
    page.click("#guess")
    assert page.locator("#fast").is_visible()
    assert page.locator("#guess-said").inner_text().startswith("You said 1.00 seconds. Well seen")
    kept_shot(page, "guessed")


def test_by_keys_alone(folder: Path, page: Any) -> None:
    opened(page, folder, DRIFT, "6-8")
    page.locator("#time").focus()
    before = page.locator("#told").inner_text()
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    page.evaluate(until("document.getElementById('told').textContent !== told"), before)
    page.locator("#point-a").focus()
    page.keyboard.press("Enter")
    page.locator("#time").focus()
    page.keyboard.press("End")
    page.evaluate(NEXT_FRAME)
    page.locator("#point-b").focus()
    page.keyboard.press("Enter")
    page.locator("#far .handle").first.focus()
    value = page.locator("#far .handle").first.get_attribute("aria-valuenow")
    page.keyboard.press("ArrowRight")
    moved = page.locator("#far .handle").first.get_attribute("aria-valuenow")
    assert float(moved) == pytest.approx(float(value) + 0.05)
    assert (
        page.evaluate("document.activeElement.getAttribute('aria-label')") == "Point A on the graph; arrow keys move it"
    )


def test_the_ruler_measures_what_the_boat_went(folder: Path, page: Any) -> None:
    opened(page, folder, STRAIGHT)
    move_to(page, 0.5)
    page.click("#end-1")
    move_to(page, 2.5)
    page.click("#end-2")
    assert page.locator("#ruler").inner_text() == "From end to end: 48.0 centimetres (480 mm)."
    page.locator("#map .handle").nth(1).focus()
    page.keyboard.press("ArrowRight")
    assert "(490 mm)" in page.locator("#ruler").inner_text()


def test_ghosts_are_laid_over_each_other_and_told(folder: Path, page: Any) -> None:
    """At 2 s: Heron at 240 mm/s, Newt at 300, Coot at 150."""
    opened(page, folder, STRAIGHT)
    page.click("#ghosts summary")
    page.check("#ghosts input[value=s1-r004]")
    page.check("#ghosts input[value=s1-r005]")
    move_to(page, 2.0)
    told = page.locator("#ghost-told li").all_inner_texts()
    assert told == ["Ghost 1: Team Newt, run 1 is 12.0 centimetres ahead.",
                    "Ghost 2: Team Coot, run 1 is 18.0 centimetres behind."]  # fmt: skip
    assert page.locator("#map .ghost").count() == page.locator("#far .ghost").count() == 2
    own = place_of(page, "#map .now")
    newt, coot = (place_of(page, f"#map g:has(> .ghost-now) >> nth={i}") for i in (0, 1))
    assert coot[0] < own[0] < newt[0]
    page.uncheck("#ghosts input[value=s1-r004]")
    page.evaluate(NEXT_FRAME)
    assert page.locator("#ghost-told li").all_inner_texts()[0].startswith("Ghost 1: Team Coot")
    for run in ("s1-r006", "s1-r007", "s1-r008"):
        page.check(f"#ghosts input[value={run}]")
    assert page.locator("#ghosts input[value=s1-r009]").is_disabled(), "four at most"


def test_the_graph_across_has_its_doubt(folder: Path, page: Any) -> None:
    """u of the middle 0.5 mm, bow 80 mm ahead of it, boat 160 mm long: 0.5·√(1 + 2/4), times 1.96."""
    opened(page, folder, DRIFT, "6-8")
    page.select_option("#axis", "across")
    assert page.locator("#far .band").count() == 1
    move_to(page, 1.0)
    across = page.locator("#read-across").inner_text().replace("\u00a0", " ")
    assert across == "0.0200 m ± 0.0012 m"


def test_play_moves_smoothly_or_in_steps_where_motion_is_unwanted(folder: Path, browser: Any) -> None:
    for motion in ("no-preference", "reduce"):
        context = browser.new_context(reduced_motion=motion)
        page = opened(context.new_page(), folder, STRAIGHT)
        page.evaluate(
            "() => { window.seen = []; const f = () => { seen.push(document.querySelector('#map .now')"
            ".getAttribute('transform')); requestAnimationFrame(f); }; f(); }"
        )
        page.click("#play")
        page.evaluate(until("new Set(seen).size > 4 && seen.length > 30"), "")
        page.click("#play")
        places = page.evaluate("[...new Set(seen)].map((s) => Number(s.slice(10).split(',')[0]))")
        gaps = [b - a for a, b in pairwise(places[1:-1])]
        one_dot_px = page.evaluate(
            "boatrun.data.run.axes.along.length && document.querySelectorAll('#map .dot').length"
        )
        assert one_dot_px > 5
        if motion == "reduce":
            assert max(gaps) - min(gaps) < 0.1 * max(gaps), "steps of one dot each"
            assert len(places) < 10
        else:
            assert all(gap > 0 for gap in gaps)
        context.close()


def test_a_track_of_100_000_moments_is_thinned_and_stays_true(folder: Path, page: Any) -> None:
    opened(page, folder, "long", "6-8")
    assert page.evaluate("boatrun.data.run.t.length") > 100_000
    page.click("#see")
    lengths = page.evaluate("""() => [...document.querySelectorAll("#map path, #far path, #fast path")]
      .map((p) => (p.getAttribute("d").match(/[ML]/g) || []).length)""")
    assert max(lengths) < 4 * 1280, "no more than first, least, most and last in each column"
    page.evaluate("boatrun.frames.length = 0")
    for i in range(200):
        page.evaluate(f"e = document.getElementById('time'); e.value = {0.02 * i}; e.dispatchEvent(new Event('input'))")
    page.evaluate(NEXT_FRAME)
    spent = sorted(page.evaluate("boatrun.frames"))
    drawn_ms = page.evaluate(
        "() => { const begun = performance.now(), axis = document.getElementById('axis');"
        " axis.dispatchEvent(new Event('change')); return performance.now() - begun; }"
    )
    count, middle = page.evaluate("boatrun.data.run.t.length"), spent[len(spent) // 2]
    print(f"\n{count} moments: a frame {middle:.2f} ms in the middle, {spent[-1]:.1f} ms at worst, drawn anew in")
    print(f"{drawn_ms:.0f} ms, first seen {shown_ms(page):.0f} ms after opening")
    move_to(page, 1.0)
    told = page.locator("#read-along").inner_text().split("\u00a0")[0]
    assert float(told) == pytest.approx(0.25, abs=0.0008)


def shown_ms(page: Any) -> float:
    return float(page.locator("#data").get_attribute("data-shown"))


def test_pictures_to_take_away_carry_their_words(folder: Path, page: Any, tmp_path: Path) -> None:
    opened(page, folder, DRIFT, "6-8")
    page.click("#h-save")
    for kind in ("svg", "png"):
        with page.expect_download() as waiting:
            page.click(f"[data-save=far][data-as={kind}]")
        waiting.value.save_as(tmp_path / f"far.{kind}")
    svg = (tmp_path / "far.svg").read_text(encoding="utf-8")
    assert "<title>Team Heron, run 1</title>" in svg
    assert "Steep is fast" in svg
    assert "svg .line" in svg, "with its own style"
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    png = (tmp_path / "far.png").read_bytes()
    chunk = png.index(b"iTXt")
    length = int.from_bytes(png[chunk - 4 : chunk], "big")
    body = png[chunk : chunk + 4 + length]
    assert body.startswith(b"iTXtDescription\0")
    assert b"Steep is fast" in body
    assert int.from_bytes(png[chunk + 4 + length : chunk + 8 + length], "big") == zlib.crc32(body)


@pytest.mark.parametrize("name", ["index", "class", STRAIGHT, DRIFT, "s1-r053", "experiments", "experiment--heavier"])
def test_everybody_can_use_it_and_nothing_hangs_over(folder: Path, page: Any, name: str) -> None:
    """By the rules of axe-core (WCAG 2.2, A and AA), for every age at three sizes."""
    told = []
    for band, size in LOOKED_AT:
        width, height = SIZES[size]
        page.set_viewport_size({"width": width, "height": height})
        opened(page, folder, name, band)
        page.reload()
        if name in (STRAIGHT, DRIFT) and band != "2-3":
            page.click("#see")
            page.click("#point-a")
        if name.startswith("experiment--"):
            page.click("#h-runs")
        kept_shot(page, f"study_{name}_{band}_{size}")
        found = axe_found(page)
        told += [
            f"{name} {band} {size} {one['impact']} {one['id']}: {one['help']}: {node['html'][:160]}"
            for one in found["violations"] if one["impact"] in ("serious", "critical", "moderate")
            for node in one["nodes"]
        ]  # fmt: skip
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        told += [f"{name} {band} {size}: hangs over by {over} px"] if over > 0 else []
        told += [f"{name} {band} {size}: too small to read: {one}" for one in page.evaluate(SMALL_TEXT)]
        told += [f"{name} {band} {size}: too small to hit: {one}" for one in page.evaluate(SMALL_TARGETS)]
    assert told == [], "\n".join(told)


SMALL_TEXT = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), found = [];
  while (walk.nextNode()) {
    const at = walk.currentNode.parentElement;
    const says = walk.currentNode.textContent.trim();
    if (!says || !at.getClientRects().length || at.closest("script, style, title, desc")) continue;
    const drawn = at.closest("svg"), by = drawn ? at.getScreenCTM().a : 1;
    const px = parseFloat(getComputedStyle(at).fontSize) * by;
    if (px < 15.9) found.push(`${px.toFixed(1)} px: ${says.slice(0, 40)}`);
  }
  return found;
}"""
SMALL_TARGETS = """() => [...document.querySelectorAll("button, .button, input, select")]
  .filter((e) => e.getClientRects().length).map((e) => (e.type === "checkbox" ? e.closest("label") : e))
  .filter((e) => e.getBoundingClientRect().height < 40)
  .map((e) => e.outerHTML.slice(0, 120))"""


def test_a_line_is_drawn_by_eye_before_one_is_computed(folder: Path, page: Any) -> None:
    opened(page, folder, "class", "6-8")
    svg = page.locator("#scatter-mass")
    assert svg.locator(".fit").count() == 0
    svg.locator(".handle").nth(1).focus()
    before = page.locator("#yours-mass").inner_text()
    for _ in range(5):
        page.keyboard.press("ArrowUp")
    assert page.locator("#yours-mass").inner_text() != before
    page.click("#tool-mass")
    assert svg.locator(".fit").count() == 1
    # by hand: 2.88 mm for a gram, so 144 mm for 50 g
    assert "for 50 g more, 144 mm more ± 1 mm" in page.locator("#told-mass").inner_text().replace("\u00a0", " ")


def test_without_scripts_the_drawings_and_the_numbers_are_there(folder: Path, browser: Any) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((folder / f"{DRIFT}.html").as_uri())
    assert page.locator(".still svg").count() == 3
    assert page.locator(".still svg").first.is_visible()
    page.click("#h-tool")
    assert "drift" in page.locator("main").inner_text()
    context.close()
