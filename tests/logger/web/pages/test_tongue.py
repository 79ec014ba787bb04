from __future__ import annotations

import pytest

from tests.logger.web.conftest import Desk


def test_a_viewer_chooses_the_language_and_it_stays(guarded: Desk) -> None:
    answer = guarded.post("/language", {"language": "es", "back": "/cards?said=x"}, drawn_at="/cards")
    assert answer.headers["location"] == "/cards?said=x"
    assert '<html lang="es">' in guarded.get("/cards")
    guarded.post("/language", {"language": "en", "back": "/"}, drawn_at="/cards")
    assert '<html lang="en">' in guarded.get("/cards")


def test_a_language_that_is_not_there_changes_nothing(desk: Desk) -> None:
    answer = desk.post("/language", {"language": "tlh", "back": "/"}, drawn_at="/cards")
    assert "language=" not in answer.headers.get("set-cookie", "")


@pytest.mark.parametrize(
    "back", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere", "", "cards", "é"]
)
def test_one_is_never_led_elsewhere(desk: Desk, back: str) -> None:
    assert desk.post("/language", {"language": "es", "back": back}, drawn_at="/cards").headers["location"] == "/"
