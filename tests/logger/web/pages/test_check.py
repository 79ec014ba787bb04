from __future__ import annotations

from tests.logger.web.conftest import Desk


def test_every_part_is_tried_and_what_is_wrong_comes_first_with_its_cure(desk: Desk) -> None:
    assert desk.worked(desk.post("/check", {"keep": "no"})) == "/check"
    text = desk.get("/check")
    assert "The last check, 2026-05-04 10:15" in text
    assert "✗ wrong" in text
    assert text.index("✗ wrong") < text.index("✓ well")
    assert 'class="cure"' in text


def test_a_torn_note_of_the_last_check_is_none(desk: Desk) -> None:
    (desk.folder / "drafts" / "checkfound").mkdir(parents=True)
    (desk.folder / "drafts" / "checkfound" / "values.json").write_text('{"findings": "["}')
    assert "The last check" not in desk.get("/check")
