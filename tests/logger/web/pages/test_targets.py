from __future__ import annotations

from html import escape
from io import BytesIO

import pytest

from logger.study.target_sheets import TARGETS
from tests.logger.web.conftest import Desk


def test_every_sheet_is_listed_on_both_papers(desk: Desk) -> None:
    text = desk.get("/targets")
    for name, target in TARGETS.items():
        assert escape(target.title).replace("&#x27;", "&#39;") in text
        assert f"/targets/{name}.pdf?paper=a4" in text
        assert f"/targets/{name}.pdf?paper=letter" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_sheet_comes_as_pdf_to_be_kept(desk: Desk, paper: str) -> None:
    answer = desk.client.get(f"/targets/lens-board.pdf?paper={paper}")
    assert answer.headers["content-type"] == "application/pdf"
    assert f'filename="lens-board-{paper}.pdf"' in answer.headers["content-disposition"]
    assert BytesIO(answer.content).read(5) == b"%PDF-"
