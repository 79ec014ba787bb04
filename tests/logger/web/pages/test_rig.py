from __future__ import annotations

import json

from logger.checkup.steps import Step
from logger.recording.rig_toml import read_rig
from logger.web.drafts import Drafts
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


def test_the_rig_is_drawn_and_its_health_is_told(desk: Desk) -> None:
    plan = desk.client.get("/rig/plan.svg")
    assert plan.headers["content-type"].startswith("image/svg+xml")
    assert "sandbox" in plan.headers["content-security-policy"]
    for line in read_rig(desk.rig_file).lines:
        assert f">{line.name}</text>" in plan.text
    text = desk.get("/rig")
    assert 'src="/rig/plan.svg"' in text
    assert "It has not been checked from here yet." in text
    found = [
        {"part": "gate A", "health": "well", "found": "clear", "cure": ""},
        {"part": "disk", "health": "wrong", "found": "1 % is free", "cure": "free some space"},
    ]
    Drafts(desk.rig_file).keep("checkfound", {"findings": json.dumps(found), "at": "2026-05-04 10:00"})
    desk.begin().sees(A="blocked", B="clear")
    text = desk.get("/rig")
    assert 'data-events="/rig/events"' in text
    assert "1 part is well, 1 is not:" in text
    assert "1 % is free; free some space" in text
    assert "beam A blocked" in text


def test_viewers_see_drawings_and_no_photographs(desk: Desk, guarded: Desk) -> None:
    folder = desk.folder / "plane" / "plane-2026-05-04T101500"
    step = Step("plane", "done", "", (folder / "map.svg", folder / "seen-1.png"))
    assert len(pictures(step, desk.folder, all_of_them=True)) == 2
    assert pictures(step, desk.folder, all_of_them=False) == ["/evidence/plane/plane-2026-05-04T101500/map.svg"]
    assert "Do this now" not in guarded.get("/rig")
