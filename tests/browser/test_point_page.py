"""The page on which one points at lines, in a real browser: clicked, moved by keys, its table taken as it is."""

from __future__ import annotations

import re
import subprocess
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from logger.config import Rig, Tank
from logger.recording.place_list import read_places
from logger.study.point_page import point_page
from tests.browser.chromium import BROWSER

pytestmark = pytest.mark.browser

OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND", "--virtual-time-budget=3000", "--dump-dom",
    "--window-size=1500,1200",
)  # fmt: skip
DRIVE = """
<pre id="out"></pre><script>
addEventListener("load", () => {
  const look = document.getElementById("look"), box = look.querySelector("img").getBoundingClientRect();
  const click = (u, v) => look.dispatchEvent(new MouseEvent("click", { bubbles: true,
    clientX: box.left + (u + 0.5) / 1280 * box.width, clientY: box.top + (v + 0.5) / 720 * box.height }));
  const key = (name, shift) => look.dispatchEvent(new KeyboardEvent("keydown", { key: name, shiftKey: !!shift }));
  document.getElementById("where").value = "floor";
  click(640, 100);
  for (let n = 0; n < 50; n++) key("ArrowDown", true);
  key("ArrowRight"); key("Enter"); key("Enter"); key("Backspace");
  document.getElementById("kind").value = "port";
  document.getElementById("kind").dispatchEvent(new Event("change"));
  document.getElementById("name").value = 'the "left", port';
  document.getElementById("where").value = "";
  click(700, 300); click(800, 300); click(800, 400);
  const pad = document.getElementById("pad"), by = (way) => pad.querySelector(`[data-move="${way}"]`);
  by("-1,0").click(); by("0,1").click(); by("0,1").click();
  by("1,0").dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight", shiftKey: true, bubbles: true }));
  document.getElementById("out").textContent = document.getElementById("table").value;
});
</script></body>"""


@pytest.mark.skipif(BROWSER is None, reason="no headless browser here")
def test_points_that_are_clicked_and_set_by_keys_come_out_as_a_table(tmp_path: Path) -> None:
    rig = Rig("r", Tank(((0.0, 0.0), (900.0, 0.0), (900.0, 400.0)), 100.0), ())
    page = tmp_path / "click.html"
    page.write_text(point_page(np.full((720, 1280), 90, np.uint8), rig, None).replace("</body>", DRIVE))
    assert BROWSER is not None
    ran = subprocess.run([BROWSER, *OPTIONS, f"--user-data-dir={tmp_path / 'profile'}", page.as_uri()],
                         capture_output=True, text=True, timeout=120, check=True)  # fmt: skip
    found = re.search(r'<pre id="out">(.*?)</pre>', ran.stdout, re.DOTALL)
    assert found is not None
    table = tmp_path / "points.csv"
    table.write_text(unescape(found[1]))
    start, port = read_places(table)
    (u0, v0), (u1, v1) = (p.pixel or (0.0, 0.0) for p in start.points)
    assert (u0, v0) == pytest.approx((640.0, 100.0), abs=1.6)  # a mouse knows whole points of the screen
    assert (u1 - u0, v1 - v0) == pytest.approx((1.0, 500.0), abs=0.11)
    assert all(p.on_floor for p in start.points)
    (u, v), (nudged_u, nudged_v) = (port.points[n].pixel or (0.0, 0.0) for n in (1, 2))
    assert (nudged_u - u, nudged_v - v) == pytest.approx((9.0, 102.0), abs=1.7), "1 left, 2 down, 10 right by keys"
    assert (port.kind, port.name, len(port.points)) == ("port", 'the "left", port', 3)
