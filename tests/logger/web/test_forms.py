from __future__ import annotations

from tests.logger.web.conftest import HERE, Desk


def test_more_fields_than_any_page_has_are_refused(desk: Desk) -> None:
    values = {f"f{number}": "x" for number in range(400)}
    headers = {"Origin": HERE}
    data = {"token": desk.token("/cards/new"), **values}
    assert desk.client.post("/cards/new", data=data, headers=headers, follow_redirects=False).status_code == 400


def test_signs_that_mean_nothing_are_taken_out(desk: Desk) -> None:
    desk.post("/cards/new", {"name": "Sw\x07a\u202en", "team": "  Reeds\t"})
    assert '"Swan"' in (desk.folder / "cards" / "swan.toml").read_text().replace("'", '"')


def test_files_where_none_are_wanted_are_refused(desk: Desk) -> None:
    answer = desk.post("/cards/new", {"name": "Swan"}, status=400, files={"x": ("a.png", b"1")})
    assert "this is no form that can be read" in answer.text
