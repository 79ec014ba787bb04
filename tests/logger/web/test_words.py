from __future__ import annotations

from logger.checkup.steps import steps
from logger.recording.rig_toml import read_rig
from logger.study.point_page import sentences
from logger.web import words
from tests.logger.web.conftest import AT, Desk


def test_every_step_has_a_title_a_lead_and_a_sketch(desk: Desk) -> None:
    for step in steps(desk.rig_file, read_rig(desk.rig_file), today=AT.date()):
        assert words.step_title(step.name) != step.name
        assert words.step_lead(step.name).endswith(".")
        assert desk.client.get(f"/static/step-{step.name}.svg").headers["content-type"].startswith("image/svg+xml")
        assert words.standing(step.standing)


def test_all_that_is_said_beside_a_picture_can_be_translated() -> None:
    assert set(sentences()) == set(words.POINTING)


def test_what_was_done_is_told_once_it_is_done(desk: Desk) -> None:
    assert "The card is written." in desk.get("/cards?said=card")
    assert 'class="done"' not in desk.get("/cards?said=<script>")
