"""A short lesson through the pages of a program of its own, with a blocked beam, a hand, a closed window, a power cut.

The whole period, with a camera and all that can happen: `python -m tests.bench.pages`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from logger.lesson.folder import lessons
from tests.browser.period import Server, Teacher, Trouble, led, told
from tests.logger.lesson.practice import rig_file

pytestmark = pytest.mark.browser


def test_two_teams_sail_through_a_power_cut_and_what_else_happens(tmp_path: Path, browser: Any) -> None:
    server = Server(rig_file(tmp_path, mishaps={"r1": "beam_blocked", "r3": "hand"}))
    server.start()
    try:
        page = browser.new_page()
        page.goto(f"{server.address}/lesson/new?kind=straight")
        page.fill("[name=rows]", "2")
        page.click("text=Make the rows")
        page.fill("[name=repeats]", "1")
        page.click("button.key:has-text('Begin the lesson')")
        page.wait_for_url("**/lesson")
        page.close()
        teacher = Teacher(browser, server)
        troubles = [Trouble("running", 1, "close lesson"), Trouble("running", 2, "cut", after_s=0.5)]
        led(teacher, troubles, lasts_s=240)
    finally:
        server.end()
    print(told(teacher.noted))
    (one,) = lessons(tmp_path / "lessons")
    assert one.standing is not None
    ends = [(run.closing, run.status, run.reason) for run in one.standing.attempts if run.state != "no_run"]
    assert ends == [
        ("finish", "valid", ""),
        ("cut_short", "void", "power or rig failed"),
        ("finish", "valid", ""),
    ]
    first, cut, hand = teacher.noted
    assert any("Something is in the beam: start-gate. Clear it." in said for said in first.said)
    assert any("blocked" in said for said in first.said), "whoever arms all the same is told why not"
    assert "The rig does not answer. Waiting." in cut.said
    assert hand.said, "the hand is told"
    assert max(teacher.taken_up_s) < 60
    assert max(run.hands_s for run in teacher.noted) < 10, "seconds of the teacher's hands in a run"
    assert teacher.complaints == []
