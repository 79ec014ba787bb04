"""What was pressed on the teacher's page -> a call of the desk. A second tap is no second decision.

Every form says what its page showed (`mark_of`). A press that is meant for something that has passed does nothing; if
it is the very press that made it pass, it is a second tap, and nobody is bothered with it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

from logger.errors import InputError
from logger.lesson.desk import Desk
from logger.lesson.entries import Again, CountOf
from logger.results.trial import Status
from logger.web.forms import Form
from logger.web.language import N_, _
from logger.web.lesson_words import REASONS, mark_of

PASSED = N_("nothing was done: the lesson had gone on meanwhile; look again, then press")
_STATUSES: Mapping[str, Status] = {
    "keep": "valid", "freed_after": "freed", "did_not_finish": "did_not_finish", "void": "void",
}  # fmt: skip
_AGAIN: Mapping[str, Again] = {"no": "no", "now": "now", "last": "last"}
_COUNTS: Mapping[str, CountOf] = {"cargo": "cargo", "rings": "rings", "weights": "weights", "touches": "touches"}


class Presses:
    """Does what is pressed, one at a time."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._last: tuple[str, str] | None = None

    def do(self, form: Form) -> None:
        """Do what `form` asks for. InputError: it cannot be done now, or is nothing that can be pressed."""
        press, seen = form.get("press"), form.get("seen")
        call = self._calls(form).get(press)
        if call is None:
            raise InputError(_("this can not be pressed; open the page anew"))
        with self._lock:
            if seen != mark_of(self._desk.board()):
                if self._last == (seen, press):
                    return
                raise InputError(_(PASSED))
            call()
            self._last = (seen, press)

    def _calls(self, form: Form) -> Mapping[str, Callable[[], None]]:
        desk, run_id = self._desk, form.get("run_id")
        calls: dict[str, Callable[[], None]] = {
            "arm": desk.arm, "go": desk.go, "stop": desk.stop, "freed": desk.freed, "undo": desk.undo,
            "pause": desk.pause, "resume": desk.resume, "end": desk.end,
            "rank": lambda: desk.show_ranking(True), "unrank": lambda: desk.show_ranking(False),
            "note": lambda: desk.note(form.get("words"), run_id=run_id),
            "count": lambda: desk.count(_count_of(form), _number(form, "count"), run_id=run_id),
            "reassign": lambda: desk.reassign(run_id, _number(form, "team")),
            "call": lambda: desk.move(_number(form, "team"), last=False),
            "skip": lambda: desk.move(_number(form, "team"), last=True),
        }  # fmt: skip
        for press, status in _STATUSES.items():
            calls[press] = lambda status=status: decided(desk, form, status)  # type: ignore[misc]
        return calls


def decided(desk: Desk, form: Form, status: Status) -> None:
    """Decide about the run that a form names; what was counted in it is noted first. InputError: why not."""
    if form.get("of") and form.get("count"):
        desk.count(_count_of(form), _number(form, "count"), run_id=form.get("run_id"))
    reason = ""
    if status == "void":
        chosen = form.get("reason")
        reason = form.get("words") or (REASONS[chosen] if chosen in REASONS and chosen != "other" else "")
    again = _AGAIN.get(form.get("again"), "now" if status == "void" else "no")
    desk.decide(status, reason=reason[:80], again=again if status == "void" else "no", run_id=form.get("run_id"))


def _count_of(form: Form) -> CountOf:
    if form.get("of") not in _COUNTS:
        raise InputError(_("this can not be counted here"))
    return _COUNTS[form.get("of")]


def _number(form: Form, field: str) -> int:
    text = form.get(field)
    if not (text.isascii() and text.isdigit() and len(text) <= 4):
        raise InputError(_("found %r; wanted a whole number") % text[:20])
    return int(text)
