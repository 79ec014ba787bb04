from __future__ import annotations

from pathlib import Path

import pytest

from logger.errors import InputError
from logger.web.forms import Form
from logger.web.lesson_words import mark_of
from logger.web.presses import Presses
from tests.logger.lesson.lessons import opened


def form(**values: str) -> Form:
    return Form(values, {}, [])


def test_a_press_is_done_once_for_what_its_page_showed(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    presses = Presses(desk)
    arm = form(press="arm", seen=mark_of(desk.board()))
    presses.do(arm)
    presses.do(arm)  # the second tap
    assert len(desk.standing.attempts) == 1  # type: ignore[union-attr]
    with pytest.raises(InputError, match="had gone on meanwhile"):
        presses.do(form(press="pause", seen=arm.get("seen")))
    hands.finishes()
    keep = form(press="keep", seen=mark_of(desk.board()), run_id="r1")
    presses.do(keep)
    with pytest.raises(InputError, match="had gone on meanwhile"):
        presses.do(arm)  # long after, from a page that was left open
    folder.close()


def test_after_it_was_called_off_the_same_key_arms_again(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    presses = Presses(desk)
    for _ in range(3):
        presses.do(form(press="arm", seen=mark_of(desk.board())))
        assert desk.board().state == "ready"
        presses.do(form(press="stop", seen=mark_of(desk.board())))
        assert desk.board().state == "closing"
        hands.keeps()
        assert desk.board().state == "called"
    folder.close()


def test_what_was_refused_may_be_pressed_again(tmp_path: Path) -> None:
    desk, hands, folder = opened(tmp_path)
    presses = Presses(desk)
    hands.sees(A="blocked")
    for _ in range(2):
        with pytest.raises(InputError, match="blocked"):
            presses.do(form(press="arm", seen=mark_of(desk.board())))
    hands.sees(A="clear")
    presses.do(form(press="arm", seen=mark_of(desk.board())))
    assert desk.board().state == "ready"
    folder.close()


@pytest.mark.parametrize("values", [{}, {"press": "fly"}, {"press": "count", "of": "fish", "count": "1"},
                                    {"press": "call", "team": "x"}, {"press": "call", "team": "²"}])  # fmt: skip
def test_what_is_no_press_is_refused(tmp_path: Path, values: dict[str, str]) -> None:
    desk, _, folder = opened(tmp_path)
    with pytest.raises(InputError, match=r"can not|wanted"):
        Presses(desk).do(form(seen=mark_of(desk.board()), **values))
    folder.close()
