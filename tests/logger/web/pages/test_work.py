from __future__ import annotations

import json
import re

from tests.logger.web.conftest import Desk


def test_how_far_work_is_comes_as_events_in_order_with_an_end(desk: Desk) -> None:
    answer = desk.post("/check", {"keep": "no"})
    path = answer.headers["location"]
    with desk.client.stream("GET", f"{path}/events") as events:
        assert events.headers["content-type"].startswith("text/event-stream")
        text = "".join(events.iter_text())
    news = [json.loads(line) for line in re.findall(r"event: news\ndata: (.*)\n\n", text)]
    assert text.rstrip().endswith('data: {"where": "/check"}')
    assert len([sentence for one in news for sentence in one["sentences"]]) >= 1
    assert desk.client.get(path, follow_redirects=False).headers["location"] == "/check"


def test_work_that_failed_tells_why_and_leads_back(desk: Desk) -> None:
    desk.drafts = None  # type: ignore[attr-defined]
    answer = desk.post("/lens/work", {"from": "camera"}, drawn_at="/lens")
    where = desk.worked(answer)
    text = desk.get(where)
    assert "there is no [camera.driver]" in text
    assert 'href="/lens">Back, with everything that was typed' in text


def test_without_scripts_the_page_comes_again_by_itself(desk: Desk) -> None:
    template = (desk.folder / "x").parent
    assert template.is_dir()
    from logger.web.site import templates

    source, _, _ = templates().loader.get_source(templates(), "work.html")  # type: ignore[union-attr]
    assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in source
