"""The pages of a rig without a network: requests go straight into the application."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from logger.web.app import build
from logger.web.pin import read_pin, set_pin
from tests.logger.cli.test_calibrate_plane import RIG

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

    @property
    def folder(self) -> Path:
        return self.rig_file.parent

    def get(self, path: str, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def token(self, path: str = "/") -> str:
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


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(RIG, encoding="utf-8")
    return path


@pytest.fixture
def desk(rig_file: Path) -> Iterator[Desk]:
    """Pages that only this computer reaches: no PIN."""
    clock = Clock()
    with TestClient(build(rig_file, pin=None, now=lambda: AT, clock_ns=clock), base_url=HERE) as client:
        yield Desk(rig_file, client, clock)


@pytest.fixture
def guarded(rig_file: Path) -> Iterator[Desk]:
    """Pages that ask for a PIN."""
    set_pin(rig_file, PIN)
    clock = Clock()
    app = build(rig_file, pin=read_pin(rig_file), now=lambda: AT, clock_ns=clock)
    with TestClient(app, base_url=HERE) as client:
        yield Desk(rig_file, client, clock)
