"""The pages of a rig without a network: requests go straight into the application."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from logger.lesson.desk import Desk as LessonDesk
from logger.lesson.proceedings import Proceedings
from logger.results.trial import Trial
from logger.web.app import build
from logger.web.drafts import Drafts
from logger.web.jobs import Jobs
from logger.web.lessons import Lessons
from logger.web.news import News
from logger.web.pin import Attempts, Pin, read_pin, set_pin
from logger.web.sessions import Sessions
from logger.web.site import Site, templates
from tests.logger.cli.test_calibrate_plane import RIG
from tests.logger.lesson.lessons import Hands

HERE = "http://localhost"
AT = datetime(2026, 5, 4, 10, 15, tzinfo=UTC)
PIN = "seagull7"


@dataclass
class Clock:
    """A clock that the test turns on."""

    now_ns: int = 1_000_000_000

    def __call__(self) -> int:
        return self.now_ns


@dataclass
class Desk:
    """A browser at the pages of a rig."""

    rig_file: Path
    client: TestClient
    clock: Clock = field(default_factory=Clock)
    hands: list[Hands] = field(default_factory=list)
    """Those who work the rig, of every lesson that was opened, the last one last."""

    @property
    def folder(self) -> Path:
        return self.rig_file.parent

    def get(self, path: str, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def begin(self, kind: str = "straight", **values: object) -> Hands:
        """Begin a lesson by the form that is offered; those who work its rig."""
        page = self.get(f"/lesson/new?kind={kind}")
        self.post("/lesson/new", {**fields(page), "do": "begin", **values}, drawn_at="/lesson/new?kind=straight")
        return self.hands[-1]

    def press(self, press: str, status: int = 303, **values: object):
        """Press a key of the teacher's page, as it stands now."""
        page = self.get("/lesson")
        seen = re.search(r'name="seen" value="([^"]+)"', page)
        assert seen is not None, page
        return self.post("/lesson/press", {"press": press, "seen": seen[1], **values}, status, drawn_at="/lesson")

    def runs(self, press: str = "keep", made: Trial | None = None, **values: object) -> str:
        """One whole run of whose turn it is, and what is decided about it; its name."""
        self.press("arm")
        hands = self.hands[-1]
        hands.finishes(made)
        assert hands.job is not None
        self.press(press, run_id=hands.job.card.id, **values)
        return hands.job.card.id

    def token(self, path: str = "/rig") -> str:
        found = re.search(r'name="token" value="([0-9a-f]{64})"', self.get(path))
        assert found is not None, path
        return found[1]

    def post(self, path: str, values: Mapping[str, object], status: int = 303, *, drawn_at: str = "", **more: object):
        """Send a form that was drawn at a page, as a browser does; the answer."""
        data = {"token": self.token(drawn_at or path), **values}
        answer = self.client.post(path, data=data, headers={"Origin": HERE}, follow_redirects=False, **more)  # type: ignore[arg-type]
        assert answer.status_code == status, answer.text[:3000]
        return answer

    def worked(self, answer) -> str:
        """Follow a piece of work to its end by its events; where it leads."""
        path = answer.headers["location"]
        assert path.startswith("/progress/"), path
        with self.client.stream("GET", f"{path}/events") as events:
            text = "".join(events.iter_text())
        return re.findall(r'event: end\ndata: \{"where": "([^"]+)"\}', text)[0]


def fields(page: str) -> dict[str, str]:
    """What the fields of a drawn form hold."""
    drawn = [one for one in re.findall(r"<input [^>]*>", page) if 'type="checkbox"' not in one or " checked" in one]
    found = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', "\n".join(drawn)))
    for name, choices in re.findall(r'<select [^>]*name="([^"]+)">(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', choices) or re.search(r'value="([^"]*)"', choices)
        found[name] = chosen[1] if chosen else ""
    return {name: unescape(value) for name, value in found.items() if name not in ("token", "back")}


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(RIG, encoding="utf-8")
    return path


def site_of(rig_file: Path) -> Site:
    """What every page is given, without an application around it."""
    led = LessonDesk(Proceedings(now=AT.isoformat, clock_ns=Clock()))
    lessons = Lessons(rig_file.parent / "lessons", led, crew=Hands, now=lambda: AT)
    return Site(
        rig_file, Sessions(Clock(), asks_pin=False), Attempts(Clock()), None, Drafts(rig_file), Jobs(), lambda: AT,
        templates(), lessons, News(led, clock_ns=Clock()),
    )  # fmt: skip


def served(rig_file: Path, pin: Pin | None = None, **more: Any) -> Iterator[Desk]:
    """Pages of a rig that nobody works but the test."""
    clock, hands = Clock(), list[Hands]()

    def crew(store: Path, led: LessonDesk) -> Hands:
        hands.append(Hands(store, led))
        return hands[-1]

    app = build(rig_file, **{"pin": pin, "now": lambda: AT, "clock_ns": clock, "crew": crew} | more)
    with TestClient(app, base_url=HERE) as client:
        yield Desk(rig_file, client, clock, hands)


@pytest.fixture
def desk(rig_file: Path) -> Iterator[Desk]:
    """Pages that only this computer reaches: no PIN."""
    yield from served(rig_file)


@pytest.fixture
def guarded(rig_file: Path) -> Iterator[Desk]:
    """Pages that ask for a PIN."""
    set_pin(rig_file, PIN)
    yield from served(rig_file, read_pin(rig_file))
