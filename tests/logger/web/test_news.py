from __future__ import annotations

import asyncio
import json
from pathlib import Path

from logger.lesson.crew import Seen
from logger.records import Fix
from logger.web.news import News
from tests.logger.lesson.lessons import opened


async def next_event(stream) -> str:
    async for text in stream:
        if text.startswith("event"):
            return str(text)
    raise AssertionError("the stream has ended")


def test_everybody_who_watches_is_told_of_every_change(tmp_path: Path) -> None:
    desk, _, folder = opened(tmp_path)
    news = News(desk, clock_ns=lambda: 9_000)

    async def watched() -> list[list[str]]:
        streams = [news.events(lambda board: board.state) for _ in range(5)]
        first = [await next_event(stream) for stream in streams]
        await asyncio.to_thread(desk.arm)  # from another thread, as the crew's
        then = await asyncio.wait_for(asyncio.gather(*(next_event(stream) for stream in streams)), 20)
        for stream in streams:
            await stream.aclose()
        return [list(pair) for pair in zip(first, then, strict=True)]

    for texts in asyncio.run(watched()):
        contents = [json.loads(text.split("data: ")[1]) for text in texts]
        assert contents[-1]["part"] == "ready"
        assert contents[-1]["board"]["state"] == "ready"
        assert contents[-1]["version"] == desk.board().version
        assert f"id: {desk.board().version}\n" in texts[-1]
    folder.close()


def test_where_the_boat_is_wakes_nobody(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    news = News(desk, clock_ns=lambda: 0)
    desk.arm()
    hands.happens("armed", "started")
    before = news.board
    hands.ear.located(Fix(5_000, 100.0, 20.0, 0.0, (1.0, 0.0, 1.0), "measured", "camera"))
    assert news.board is before
    hands.happens("ended:finish")
    assert news.board is not before
    folder.close()


def test_it_is_drawn_once_for_all_who_see_it_alike(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    news, drawn = News(desk, clock_ns=lambda: 0), []

    def draw(board) -> str:
        drawn.append(board.version)
        return board.state

    for _ in range(40):
        assert news.drawn(news.board, "en", draw) == "called"
    news.drawn(news.board, "es", draw)
    assert len(drawn) == 2
    hands.ear.seen(Seen(beams={}, water="calm"))
    news.drawn(news.board, "en", draw)
    assert len(drawn) == 3
    folder.close()


def test_ages_are_told_and_not_moments(tmp_path: Path) -> None:
    desk, _, folder = opened(tmp_path)
    news = News(desk, clock_ns=lambda: 3_500_000_000)
    assert news.age_s(1_000_000_000) == 2.5
    assert news.age_s(None) is None
    folder.close()
