"""Every route of every page, with whatever may be sent: never a fault of ours, never open to whom it should not be."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from starlette.testclient import TestClient

from logger.web.app import PAGES, UPLOADS
from tests.logger.web.conftest import HERE, Desk, served, site_of


def every_route(rig_file: Path) -> list[Route]:
    site = site_of(rig_file)
    return [route for page in PAGES for route in page.routes(site)]


def filled(path: str, word: str = "1") -> str:
    return re.sub(r"\{[^}]*\}", word, path)


def test_pages_are_reached_and_what_is_not_there_is_told(desk: Desk) -> None:
    for path in ("/", "/board", "/lesson", "/lesson/new", "/lesson/new?kind=drift", "/teams", "/sofar", "/stored",
                 "/rig", "/targets", "/lens", "/plane", "/plane?way=floor", "/plane?way=rim", "/plane?way=board",
                 "/lines", "/light", "/cards", "/cards/new", "/gates", "/check", "/pin"):  # fmt: skip
        assert "<h1" in desk.get(path), path
    for path in ("/nothing", "/progress/99", "/progress/99/events", "/static/../app.py", "/static/app.py",
                 "/lens/result/x", "/plane/result/plane-2026-01-01T000000", "/evidence/plane/x/y.svg",
                 "/cards/none.toml", "/light/result/x", "/gates/result/x", "/draft/plane/values.json", "/view/rig.toml",
                 "/evidence/plane/plane-2026-01-01T000000/camera.toml", "/targets/none.pdf",
                 "/targets/all.pdf?paper=a9", "/progress/99999999999999999999"):  # fmt: skip
        assert desk.client.get(path).status_code == 404, path


def test_no_route_takes_a_form_without_its_token(desk: Desk) -> None:
    """Of every route that takes something, whoever adds one."""
    desk.get("/")
    routes = [route for route in every_route(desk.rig_file) if "POST" in (route.methods or ())]
    assert len(routes) > 15
    for route in routes:
        path = filled(route.path, "dry" if "slot" in route.path else "1")
        answer = desk.client.post(path, data={"folder": "x"}, headers={"Origin": HERE}, follow_redirects=False)
        assert answer.status_code in (403, 404), (path, answer.status_code)


def test_viewers_may_send_the_pin_and_their_language_and_nothing_else(guarded: Desk) -> None:
    """To no route, whoever adds one."""
    token = guarded.token("/pin")
    for route in every_route(guarded.rig_file):
        path = filled(route.path, "dry" if "slot" in route.path else "1")
        if "POST" in (route.methods or ()) and path not in ("/pin", "/language"):
            answer = guarded.client.post(path, data={"token": token}, headers={"Origin": HERE}, follow_redirects=False)
            assert answer.status_code == 403, path
            assert "viewers may only look" in answer.text, path


def test_whoever_takes_pictures_is_on_the_list_of_those_who_may(rig_file: Path) -> None:
    takes = [r.path for r in every_route(rig_file) if "POST" in (r.methods or ()) and "picture" in r.path]
    assert len(takes) == 3
    assert all(path.startswith(UPLOADS) for path in takes)


class Sources(HTMLParser):
    """What a page would load, and the scripts and styles that stand in it."""

    def __init__(self) -> None:
        super().__init__()
        self.loaded: list[str] = []
        self.inline: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.loaded += [given[name] or "" for name in ("src", "href", "action") if name in given]
        if (tag == "script" and "src" not in given) or tag == "style":
            self.inline.append(tag)
        self.inline += [name for name in given if name == "style" or name.startswith("on")]


def test_pages_load_nothing_from_elsewhere_and_run_nothing_that_stands_in_them(desk: Desk) -> None:
    for path in ("/board", "/lesson", "/lesson/new?kind=cargo", "/teams", "/sofar", "/stored", "/rig", "/targets",
                 "/lens",
                 "/plane?way=floor", "/lines", "/light", "/cards/new", "/gates", "/check"):  # fmt: skip
        seen = Sources()
        seen.feed(desk.get(path))
        assert seen.inline == [], path
        assert [one for one in seen.loaded if not one.startswith(("/", "#"))] == [], path
        for address in seen.loaded:
            if address.startswith("/static/"):
                assert desk.client.get(address).status_code == 200, address


def test_a_rig_file_that_cannot_be_read_is_told_on_the_page(desk: Desk) -> None:
    desk.rig_file.write_text('format = "boatrun-rig/1"\nname = 3\n')
    text = desk.get("/rig", status=422)
    assert "name: found 3" in text
    assert "tank: missing" in text


TEXT = st.text(max_size=40) | st.sampled_from(
    ["1", "-1", "0", "nan", "1e999", "1,2", "5x3", "98@0,-150", "gates", "x=9", "'", "\x00", "../../etc/passwd",
     "start", "name,kind,column_px,row_px,height_mm\na,start,1,2,\n", "port p 1,2 3,4 5,6", "{{7*7}}", "<b>",
     "9" * 400]
)  # fmt: skip
FIELDS = ("way", "columns", "rows", "step_x", "first_x", "depth", "marks", "check_mm", "end_1", "end_2", "corner_1",
          "corner_2", "corner_3", "corner_4", "table", "start_x", "words", "taped_1", "do", "name", "length_mm", "tag",
          "tag_number", "tag.size_mm", "ruler_step", "sure", "ruler_mm", "flat_mm", "from", "folder", "recording",
          "how", "keep", "pin", "take", "forget", "level", "square", "board_height", "press", "seen", "run_id",
          "status", "reason", "again", "team", "of", "count", "kind", "title", "rows", "nickname_1", "mass_1",
          "number_1", "boat_1",
          "repeats", "order", "begin", "power", "time_cap_s", "nickname", "number", "mass", "lesson", "typed", "now",
          "language", "back", "units", "fan_distance_mm")  # fmt: skip


@pytest.fixture(scope="module")
def open_desk(tmp_path_factory: pytest.TempPathFactory):
    from tests.logger.cli.test_calibrate_plane import RIG

    path = tmp_path_factory.mktemp("fuzz") / "rig.toml"
    path.write_text(RIG)
    for open_desk in served(path):
        open_desk.client = TestClient(open_desk.client.app, base_url=HERE, raise_server_exceptions=False)
        open_desk.begin()
        open_desk.runs()
        yield open_desk


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_whatever_is_sent_is_no_fault_of_ours(open_desk: Desk, data: st.DataObject) -> None:
    routes = every_route(open_desk.rig_file)
    route = data.draw(st.sampled_from([r for r in routes if "POST" in (r.methods or ()) and r.path != "/check"]))
    word = data.draw(st.sampled_from(["1", "new", "dry", "board", "x.toml", "%00", "..%2f..", "é"]))
    values = data.draw(st.dictionaries(st.sampled_from(FIELDS), TEXT, max_size=12))
    values["token"] = open_desk.token("/pin") if 'name="token"' in open_desk.get("/pin") else open_desk.token("/lens")
    as_files = data.draw(st.booleans())
    files = {data.draw(st.sampled_from(["dry", "pictures", "x"])): ("a.png", data.draw(st.binary(max_size=60)))}
    answer = open_desk.client.post(
        filled(route.path, word), data=values, headers={"Origin": HERE}, follow_redirects=False,
        **({"files": files} if as_files else {}),
    )  # fmt: skip
    assert answer.status_code < 500, (route.path, values, answer.text)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_whatever_is_asked_for_is_no_fault_of_ours(open_desk: Desk, data: st.DataObject) -> None:
    routes = [
        route.path
        for route in every_route(open_desk.rig_file)
        if "GET" in (route.methods or ()) and not route.path.endswith("/events")
    ]
    word = data.draw(
        st.text(min_size=1, max_size=12) | st.sampled_from(["1", "..", "%2e%2e%2f", "x.svg", "lens", "9" * 60])
    )
    path = quote(filled(data.draw(st.sampled_from(routes)), word.replace("\\", "/")), safe="/%")
    query = data.draw(st.dictionaries(st.sampled_from(["way", "paper", "said", "kind", "like"]), TEXT, max_size=2))
    answer = open_desk.client.get(path, params=query, follow_redirects=False)
    assert answer.status_code < 500, (path, answer.text)


PRESSES = ("arm", "go", "stop", "freed", "keep", "freed_after", "did_not_finish", "void", "undo", "pause", "resume",
           "note", "count", "reassign", "call", "skip", "rank", "unrank", "end")  # fmt: skip


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_whatever_is_pressed_in_whatever_state_is_no_fault_of_ours(open_desk: Desk, data: st.DataObject) -> None:
    """With a mark that is right, so that it is done; and the rig goes on meanwhile as it likes."""
    hands = open_desk.hands[-1]
    events = data.draw(st.lists(st.sampled_from(["armed", "released", "started", "ended:finish"]), max_size=4))
    is_kept = data.draw(st.booleans())
    if events and hands.job is not None and not hands.job.folder.exists():
        hands.happens(*events)
        if is_kept:
            hands.keeps()
    page = open_desk.get("/lesson")
    seen = re.search(r'name="seen" value="([^"]+)"', page)
    values = data.draw(st.dictionaries(st.sampled_from(FIELDS), TEXT, max_size=4))
    values |= {"press": data.draw(st.sampled_from(PRESSES)), "seen": seen[1] if seen else "", "run_id": "r1"}
    values["token"] = open_desk.token("/cards")
    answer = open_desk.client.post("/lesson/press", data=values, headers={"Origin": HERE}, follow_redirects=False)
    assert answer.status_code in (303, 422), (values, answer.text)


@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    body=st.binary(max_size=300),
    kind=st.sampled_from(
        ["application/x-www-form-urlencoded", "multipart/form-data", "multipart/form-data; boundary=a", "text/plain",
         "application/json", "multipart/form-data; boundary=" + "x" * 300, ""]
    ),
    path=st.sampled_from(["/lens/pictures", "/plane/work", "/lines", "/cards/new", "/pin"]),
)  # fmt: skip
def test_a_body_that_is_no_form_is_refused(open_desk: Desk, body: bytes, kind: str, path: str) -> None:
    answer = open_desk.client.post(path, content=body, headers={"Origin": HERE, "Content-Type": kind})
    assert 400 <= answer.status_code < 500, answer.text
