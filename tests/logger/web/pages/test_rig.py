from __future__ import annotations

from logger.checkup.steps import Step
from logger.web.pages.rig import pictures
from tests.logger.web.conftest import Desk


def test_every_step_is_shown_with_where_it_stands_and_the_next_one_stands_out(desk: Desk) -> None:
    text = desk.get("/rig")
    for title in ("Lens", "Water plane", "Lines, beams, zones", "Light sync", "Boats&#39; cards", "Check boat"):
        assert title in text
    assert text.count("Do this now") == 1
    assert text.count('aria-current="step"') == 1
    assert "1 of 5 done" in text
    assert 'href="/lens">Do this now' in text


def test_viewers_see_drawings_and_no_photographs(desk: Desk, guarded: Desk) -> None:
    folder = desk.folder / "plane" / "plane-2026-05-04T101500"
    step = Step("plane", "done", "", (folder / "map.svg", folder / "seen-1.png"))
    assert len(pictures(step, desk.folder, all_of_them=True)) == 2
    assert pictures(step, desk.folder, all_of_them=False) == ["/evidence/plane/plane-2026-05-04T101500/map.svg"]
    assert "Do this now" not in guarded.get("/rig")
