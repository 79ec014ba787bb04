"""The report in a real browser, opened from the disk without a server and without a network."""

from __future__ import annotations

import json
import re
import subprocess
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import pytest

from logger.recording.folder import load
from logger.results.measure import measure
from logger.simulator.live import SimulatedTank
from logger.study.gather import run_of
from logger.study.report import report
from tests.browser.chromium import BROWSER

pytestmark = pytest.mark.browser

# No name is found and nothing is fetched in the background: the page is on its own.
OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr", "--virtual-time-budget=3000",
)  # fmt: skip
LOOK = """
<script>
addEventListener("load", () => {
  const slider = document.querySelector("input[type=range]");
  const dots = [...slider.closest("section").querySelectorAll(".now")];
  slider.value = slider.max;
  slider.dispatchEvent(new Event("input"));
  const small = [...document.querySelectorAll("p, td, th, figcaption, summary, svg text")]
    .filter((e) => e.getClientRects().length)
    .map((e) => [e.textContent.trim().slice(0, 30), e.tagName === "text"
      ? parseFloat(getComputedStyle(e).fontSize) * e.getScreenCTM().a : parseFloat(getComputedStyle(e).fontSize)]);
  parent.postMessage(JSON.stringify({
    fetched: performance.getEntriesByType("resource").map((entry) => entry.name),
    page_px: document.documentElement.scrollWidth, window_px: innerWidth,
    dots: dots.map((d) => [d.getAttribute("visibility"), Number(d.getAttribute("cx"))]),
    told: document.querySelector("output").textContent,
    least: Math.min(...small.map(([, size]) => size)),
    leastWords: small.sort((a, b) => a[1] - b[1])[0],
    slider_px: slider.getBoundingClientRect().height,
  }), "*");
});
</script></body>"""
# A window narrower than 500 px is not to be had from every browser, a frame is.
FRAME = """<!doctype html><html lang="en"><title>frame</title><link rel="icon" href="data:,">
<script>addEventListener("message", (event) => { document.documentElement.dataset.seen = event.data; });</script>
<iframe src="page.html" style="border:0;width:WIDTHpx;height:900px"></iframe>"""


@dataclass(frozen=True, slots=True)
class Opened:
    """A page after it was loaded."""

    seen: dict[str, object]
    complaints: list[str]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("browser") / "run"
    SimulatedTank(kind="drift", seed=1003, frame_rate_hz=10.0).write(folder)
    recording = load(folder)
    run = run_of(recording, measure(recording))
    return report([run, run], title="A page to look at", lead="One simulated run, twice.")


def opened(page: str, folder: Path, *, width_px: int) -> Opened:
    if BROWSER is None:
        pytest.skip("there is no Chromium here: install it to open the pages (apt-get install chromium)")
    (folder / "page.html").write_text(page.replace("</body>", LOOK), encoding="utf-8")
    frame = folder / "frame.html"
    frame.write_text(FRAME.replace("WIDTH", str(width_px)), encoding="utf-8")
    command = [BROWSER, *OPTIONS, f"--user-data-dir={folder / 'profile'}", "--dump-dom", frame.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True)
    found = re.search(r'data-seen="([^"]*)"', done.stdout)
    seen = json.loads(unescape(found.group(1))) if found else {}
    return Opened(seen, [line for line in done.stderr.splitlines() if "CONSOLE" in line])


@pytest.mark.parametrize("width_px", [1280, 390, 360])
def test_the_page_opens_from_disk_without_a_complaint_and_wants_nothing_from_outside(
    page: str, tmp_path: Path, width_px: int
) -> None:
    there = opened(page, tmp_path, width_px=width_px)
    assert there.complaints == []
    assert there.seen["fetched"] == []
    assert there.seen["page_px"] <= there.seen["window_px"] == width_px, "nothing hangs over the side"


def test_the_browser_would_have_complained(page: str, tmp_path: Path) -> None:
    """The check above can fail: a picture from outside and a broken script are both noticed."""
    spoilt = page.replace("</main>", '<img src="https://example.com/a.png" alt=""><script>nothing()</script></main>')
    there = opened(spoilt, tmp_path, width_px=800)
    assert there.seen["fetched"] == ["https://example.com/a.png"]
    assert "nothing is not defined" in " ".join(there.complaints)


@pytest.mark.parametrize("width_px", [1280, 360])
def test_one_slider_moves_the_dot_on_the_map_and_on_both_graphs(page: str, tmp_path: Path, width_px: int) -> None:
    seen = opened(page, tmp_path, width_px=width_px).seen
    dots = seen["dots"]
    assert isinstance(dots, list)
    assert [visible for visible, _ in dots] == ["visible"] * 3
    assert all(place > 0 for _, place in dots)
    assert re.fullmatch(
        r"[\d.]+ s after .*: the bow is [\d.]+ m past the start line, going [\d.]+ m/s", str(seen["told"])
    )
    assert float(str(seen["slider_px"])) >= 44


@pytest.mark.parametrize(("width_px", "least_px"), [(1280, 14.0), (360, 10.5)])
def test_even_the_smallest_words_can_be_read(page: str, tmp_path: Path, width_px: int, least_px: float) -> None:
    seen = opened(page, tmp_path, width_px=width_px).seen
    assert float(str(seen["least"])) >= least_px, seen["leastWords"]


def test_without_scripts_the_page_says_the_same(page: str) -> None:
    without = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    for needed in ("The results", "Why this much doubt", 'class="line"', 'class="dot"', "±"):
        assert needed in without
