from __future__ import annotations

import json
from typing import get_args

import pytest

from logger.config import Boat
from logger.errors import InputError
from logger.lesson import entries as log
from logger.lesson.plan import Team
from tests.logger.lesson.lessons import AT, plan

EVERY: tuple[log.Said, ...] = (
    log.Planned(plan()), log.Began("r1", 1, 2), log.Closed("r1", "finish"), log.Closed("r1", "cut_short", "why"),
    log.Decided("r1", "void", "gust", "last"), log.Reassigned("r1", 2), log.Counted("r1", "cargo", 0),
    log.Noted("r1", "took water\nand sank"), log.Moved(3, "now"), log.Carded(1, Boat(name="b", version=2, mass_g=3.5)),
    log.Renamed(1, "Grebe"), log.Joined(Team(4, "Coot", Boat(name="c"))), log.Ranked(False), log.Paused("bell"),
    log.Paused(), log.Resumed(), log.Ended(), log.ClockTold(-12.5), log.Undone(7),
)  # fmt: skip


@pytest.mark.parametrize("said", EVERY, ids=lambda said: type(said).__name__)
def test_every_entry_comes_back_from_its_line(said: log.Said) -> None:
    entry = log.Entry(12, AT, said)
    assert log.entry_from_table(json.loads(json.dumps(log.entry_table(entry))), file="x") == entry


def test_every_kind_is_tried_above() -> None:
    assert {type(said) for said in EVERY} == set(get_args(log.Said))


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        ({"n": 3, "at": AT, "what": "sung"}, "found an entry 'sung'"),
        ({"at": AT, "what": "ended"}, "with n and at"),
        ({"n": 3, "at": AT, "what": "decided", "run_id": "r1", "status": "good"}, "entry 3: status"),
        ({"n": 3, "at": AT, "what": "renamed", "team": 1, "nickname": "=x"}, "nickname"),
        ({"n": 3, "at": AT, "what": "ended", "more": 1}, "more: unknown name"),
    ],
)
def test_what_means_nothing_is_refused_with_its_place(table: dict[str, object], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        log.entry_from_table(table, file="lesson.jsonl")
