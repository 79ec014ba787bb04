"""Who gets through the door: names, origins, rights, sizes; and the headers under which a browser works."""

from __future__ import annotations

import re

import pytest

from logger.web.guard import FOR_VIEWERS
from tests.logger.web.conftest import HERE, Desk


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8321", "localhost.evil.example", "", "[::1", "a b"])
def test_a_name_that_is_not_ours_is_refused(desk: Desk, host: str) -> None:
    """A page of another name that resolves to this address (DNS rebinding) must not reach the rig."""
    answer = desk.client.get("/", headers={"Host": host})
    assert answer.status_code == 400
    assert "open it by its address" in answer.text
    assert answer.text.count("\n") == 1


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8321", "10.42.0.1", "[::1]:8321", "LOCALHOST"])
def test_our_names_and_addresses_are_taken(desk: Desk, host: str) -> None:
    assert desk.client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {}, {"Origin": "null"}, {"Origin": "http://evil.example"}, {"Origin": "http://localhost:99"},
        {"Origin": "http://localhost.evil.example"}, {"Origin": HERE, "Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://["}, {"Sec-Fetch-Site": "same-site"}, {"Origin": "ftp://localhost"},
    ],
)  # fmt: skip
def test_what_does_not_come_from_our_own_page_is_refused(desk: Desk, headers: dict[str, str]) -> None:
    data = {"token": desk.token("/cards/new"), "name": "Swan"}
    answer = desk.client.post("/cards/new", data=data, headers=headers)
    assert answer.status_code == 403
    assert not (desk.folder / "cards").exists()


def test_a_form_without_the_right_token_is_refused(desk: Desk) -> None:
    right = desk.token("/cards/new")
    for token in ("", "0" * 64, right[:-1]):
        answer = desk.client.post("/cards/new", data={"token": token, "name": "Swan"}, headers={"Origin": HERE})
        assert answer.status_code == 403
    desk.client.cookies.clear()
    answer = desk.client.post("/cards/new", data={"token": right, "name": "Swan"}, headers={"Origin": HERE})
    assert answer.status_code == 403, "the token of another browser"
    assert not (desk.folder / "cards").exists()


def test_a_browser_of_today_that_says_same_origin_needs_no_origin_header(desk: Desk) -> None:
    data = {"token": desk.token("/cards/new"), "name": "Swan"}
    answer = desk.client.post(
        "/cards/new", data=data, headers={"Sec-Fetch-Site": "same-origin"}, follow_redirects=False
    )
    assert answer.status_code == 303


def test_too_much_is_refused_whether_it_says_so_or_not(desk: Desk) -> None:
    headers = {"Origin": HERE, "Content-Type": "application/x-www-form-urlencoded"}
    assert desk.client.post("/cards/new", content=b"x" * 1_000_001, headers=headers).status_code == 413
    pieces = (b"x" * 100_000 for _ in range(11))
    assert desk.client.post("/cards/new", content=pieces, headers=headers).status_code == 413


def test_every_answer_tells_the_browser_what_it_may_load_and_run(desk: Desk) -> None:
    for path in ("/", "/static/style.css", "/nothing", "/targets/lens-board.pdf"):
        headers = desk.client.get(path).headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        assert headers["x-content-type-options"] == "nosniff"
        assert "server" not in headers
    cookie = desk.client.get("/", headers={"Cookie": ""}).headers
    assert "unsafe" not in cookie["content-security-policy"]


def test_the_cookie_is_not_for_scripts_nor_for_other_pages(desk: Desk) -> None:
    desk.client.cookies.clear()
    cookie = desk.client.get("/rig").headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


def test_viewers_may_look_and_send_nothing(guarded: Desk) -> None:
    for path in ("/", "/targets", "/lens", "/plane", "/lines", "/light", "/cards", "/gates", "/check", "/pin"):
        sent_to = set(re.findall(r'<form method="post" action="([^"]+)"', guarded.get(path)))
        assert sent_to <= FOR_VIEWERS, path
    token = guarded.token("/pin")
    for path in (
        "/cards/new",
        "/lens/work",
        "/plane/work",
        "/plane/use",
        "/lines",
        "/light",
        "/gates",
        "/check",
        "/leave",
    ):
        answer = guarded.client.post(path, data={"token": token}, headers={"Origin": HERE}, follow_redirects=False)
        assert answer.status_code == 403, path
        assert "viewers may only look" in answer.text
