"""A whole class period led through the pages of a rig that is served by a program of its own, with faults thrown in.

The teacher does what the page offers and knows nothing else: arms when the page says that beams are clear and the water
calm, decides as the page proposes. What is thrown in: whatever the simulated tank does by itself (its mishaps, named by
run), power cuts (the program is killed and started again while the browser stays open), and a closed browser. What
every page said in each run is noted, with the clicks and the seconds that the teacher's hands took (see person.py).
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.lesson.cycle import State
from tests.browser.person import PROJECT, Person

TAKEN_UP_WITHIN_S, GOES_ON_WITHIN_S = 60.0, 180.0
WORD_AFTER_S = 10.0
"""Where a run begins by the word, it is given so long after hands are out: who cannot wait starts early meanwhile."""
_TRIES_COUNT = 5
_LOOK = """() => {
  const part = (name) => document.querySelector(`[data-part="${name}"]`);
  const said = (one) => one ? one.innerText.trim() : "";
  const lost = document.querySelector(".lost");
  return {
    state: part("state") ? [...part("state").classList].filter((one) => one !== "state")[0] : "",
    hint: said(part("state")), lost: lost && !lost.hidden ? lost.textContent : "",
    calm: !document.querySelector('[data-part="rig"] .light:first-child.moving'),
    clear: !!part("rig") && !part("rig").querySelector(".light.blocked, .light.unknown:not(:first-child)"),
    word: !!document.querySelector("#k-go.look-here"),
    proposed: [...document.querySelectorAll('[data-part="keys"] .proposed')].map((one) => one.id || "void")[0] || "",
    came: said(part("came")), first: /first figure|is being measured/.test(said(part("came"))),
    refused: [...document.querySelectorAll("#wrong li")].map((one) => one.innerText),
    troubles: [...document.querySelectorAll('[data-part="troubles"] li')].map((one) => one.innerText),
    notices: [...document.querySelectorAll('[data-part="notices"] li')].map((one) => one.innerText),
    figure: said(document.querySelector(".came .figure")),
    flags: [...document.querySelectorAll(".came .flags li")].map((one) => one.innerText),
    run: (said(part("came")).match(/^r\\d+/) || [""])[0],
  };
}"""


class Server:
    """The program that serves the pages; it can lose its power and comes back at the same address."""

    def __init__(self, rig_file: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = int(free.getsockname()[1])
        self._rig_file = rig_file
        self._program: subprocess.Popen[str] | None = None
        self.cuts_count = 0

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def pid(self) -> int:
        assert self._program is not None
        return self._program.pid

    def start(self) -> None:
        """On return the pages answer."""
        command = [sys.executable, "-m", "logger", "serve", str(self._rig_file), "--port", str(self.port)]
        environment = os.environ | {"PYTHONPATH": str(PROJECT), "PYTHONUNBUFFERED": "1"}
        self._program = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, env=environment, start_new_session=True
        )
        assert self._program.stdout is not None
        line = self._program.stdout.readline()
        assert "http://" in line, line

    def cut(self) -> None:
        """The power goes: the program and all that it began are gone at once."""
        assert self._program is not None
        os.killpg(self._program.pid, signal.SIGKILL)
        self._close()
        self.cuts_count += 1

    def end(self) -> None:
        """In good order."""
        if self._program is not None:
            self._program.terminate()
            self._close()

    def _close(self) -> None:
        assert self._program is not None
        self._program.communicate(timeout=30)
        self._program = None


@dataclass
class RunNoted:
    """One attempt, as the teacher went through it."""

    run_id: str = ""
    clicks_count: int = 0
    hands_s: float = 0.0
    result: str = ""
    decided: str = ""
    thrown_in: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    """What the pages said beside the usual, each once."""


class Teacher:
    """Leads a lesson on the teacher's page; the wall board is open beside it."""

    def __init__(self, browser: Any, server: Server) -> None:
        self._browser, self._server = browser, server
        self.complaints: list[str] = []
        self.windows: dict[str, Any] = {}
        self.taken_up_s: list[float] = []
        """After every power cut: from the start of the program to a page that shows the lesson, without a reload."""
        self.noted: list[RunNoted] = []
        self.reloads_count = 0
        self._now = RunNoted()
        self._tried_blocked = False
        self._told_before: frozenset[str] = frozenset()
        """What stood on the page when the last run was decided; it stands there until the next one is armed."""
        self._armed_s: float | None = None
        self.open()

    def open(self) -> None:
        """Open what is not open: the teacher's page, as on a phone, and the wall board."""
        for path, width, height in (("lesson", 390, 844), ("board", 1280, 720)):
            if path not in self.windows:
                page = self._browser.new_page(viewport={"width": width, "height": height})
                page.on("pageerror", lambda error: self.complaints.append(str(error)))
                page.goto(f"{self._server.address}/{path}")
                self.windows[path] = page
        self._person = Person(self.windows["lesson"])

    def close(self, path: str) -> None:
        """Close a window."""
        self.windows.pop(path).close()

    def look(self) -> dict[str, Any]:
        """What the teacher's page shows; what is out of the ordinary is noted."""
        seen = self._shown()
        if seen["state"] not in ("called", "done"):
            self._told_before = frozenset()
        for name in ("lost", "refused", "troubles", "notices", "flags"):
            for sentence in [seen[name]] if isinstance(seen[name], str) else seen[name]:
                if sentence not in self._told_before:
                    self._note(sentence)
        if seen["state"] == "called" and ("beam" in seen["hint"] or "moves" in seen["hint"]):
            self._note(seen["hint"].replace("\n", " "))
        return seen

    def _shown(self) -> dict[str, Any]:
        """What stands on the page; after a press that the program no longer knew, the page loads itself anew."""
        from playwright.sync_api import Error  # an extra, which not everybody has

        page = self.windows["lesson"]
        for _ in range(_TRIES_COUNT):
            try:
                shown: dict[str, Any] = page.evaluate(_LOOK)
                return shown
            except Error as error:
                if "Execution context was destroyed" not in str(error):
                    raise
                self.reloads_count += 1
                page.wait_for_load_state()
        raise AssertionError("the page loads itself again and again")

    def throws_in(self, what: str) -> None:
        """Something that is done to the station in this run."""
        self._now.thrown_in.append(what)

    def do_next(self, seen: Mapping[str, Any]) -> bool:
        """Press what is to be pressed now, if anything; whether something was."""
        if seen["lost"]:
            return False
        if seen["state"] != "armed":
            self._armed_s = None
        elif self._armed_s is None:
            self._armed_s = time.monotonic()
        match seen["state"]:
            case "called" if "Something is in the beam" in seen["hint"] and not self._tried_blocked:
                self._tried_blocked = True  # somebody always tries
                self._press("#k-arm")
            case "called" if seen["clear"] and seen["calm"]:
                self._press("#k-arm")
                self._until(lambda now: now["state"] != "called" or now["refused"] or now["troubles"])
            case "armed" if seen["word"] and time.monotonic() - (self._armed_s or 0) > WORD_AFTER_S:
                self._press("#k-go")
                self._until(lambda now: now["state"] != "armed" or now["refused"])
            case "running" if any("stuck" in one for one in seen["notices"]):
                self._press("#k-stop")
                self._until(lambda now: now["state"] != "running")
            case "deciding" if not seen["first"] and seen["proposed"]:
                self._decide(seen)
            case _:
                return False
        return True

    def _decide(self, seen: Mapping[str, Any]) -> None:
        self._now.run_id, self._now.result = seen["run"], seen["figure"].replace("\n", " ")
        self._now.decided = seen["proposed"].removeprefix("k-")
        if seen["proposed"] == "void":
            reason = "power" if "cut short" in seen["came"] or "broken off" in seen["came"] else "hand"
            self._press(f".reasons button[value='{reason}']")
        else:
            self._press(f"#{seen['proposed']}")
        self._until(lambda now: now["state"] != "deciding" or now["refused"])
        self.noted.append(self._now)
        self._told_before = frozenset((*seen["flags"], *seen["notices"]))
        self._now, self._tried_blocked = RunNoted(), False

    def _press(self, what: str) -> None:
        before = (self._person.clicks_count, self._person.hands_s)
        self._person.click(what)
        self._now.clicks_count += self._person.clicks_count - before[0]
        self._now.hands_s += self._person.hands_s - before[1]

    def _until(self, holds: Callable[[Mapping[str, Any]], object]) -> None:
        begun_s = time.monotonic()
        while not holds(self.look()):
            assert time.monotonic() - begun_s < GOES_ON_WITHIN_S, self.look()
            self.windows["lesson"].wait_for_timeout(50)

    def _note(self, sentence: str) -> None:
        if sentence and sentence not in self._now.said:
            self._now.said.append(sentence)

    def loses_power(self, state: str) -> None:
        """The program is killed and started again; both windows must show the lesson again by themselves."""
        self.throws_in(f"power cut while {state}")
        self._server.cut()
        self.windows["lesson"].locator(".lost:not([hidden])").wait_for(timeout=20_000)
        self.look()
        begun_s = time.monotonic()
        self._server.start()
        for page in self.windows.values():
            page.locator(".lost").wait_for(state="hidden", timeout=TAKEN_UP_WITHIN_S * 1000)
            page.locator(".state:not(.closed)").wait_for(timeout=TAKEN_UP_WITHIN_S * 1000)
        self.taken_up_s.append(time.monotonic() - begun_s)


@dataclass(frozen=True)
class Trouble:
    """Something that is thrown in once, when the teacher's page has shown a state for the nth time."""

    state: State
    nth: int
    what: str
    """cut, or close (the browser's window)."""
    after_s: float = 0.0


def led(
    teacher: Teacher, troubles: Sequence[Trouble] = (), *, cuts_after_s: Sequence[float] = (), lasts_s: float,
    each: Callable[[], None] = lambda: None,
) -> None:  # fmt: skip
    """Lead the lesson that is open to its end.

    Args:
        teacher: who leads it.
        troubles: what is thrown in.
        cuts_after_s: further power cuts, each so long after the one before, whatever is going on then.
        lasts_s: it must be over by then.
        each: called at every look.
    """
    begun_s = since_s = time.monotonic()
    waiting, cuts, times = list(troubles), list(cuts_after_s), dict[str, int]()
    before, due_s = "", float("inf")
    coming: Trouble | None = None
    while (seen := teacher.look())["state"] != "done":
        assert time.monotonic() - begun_s < lasts_s, f"{seen}\n{teacher.noted[-3:]}"
        each()
        if seen["state"] != before:
            before = seen["state"]
            times[before] = times.get(before, 0) + 1
            found = next((one for one in waiting if (one.state, one.nth) == (before, times[before])), None)
            if found is not None and coming is None:
                coming, due_s = found, time.monotonic() + found.after_s
        if cuts and time.monotonic() - since_s > cuts[0]:
            teacher.loses_power(seen["state"])
            cuts.pop(0)
            since_s = time.monotonic()
        elif coming is not None and time.monotonic() >= due_s:
            waiting.remove(coming)
            if coming.what == "cut":
                teacher.loses_power(seen["state"])
                before = ""
            else:
                teacher.throws_in(f"window closed while {seen['state']}")
                teacher.close(coming.what.partition(" ")[2])
                teacher.open()
            coming = None
        elif coming is None or coming.state not in ("called", "deciding"):
            teacher.do_next(seen)
        teacher.windows["lesson"].wait_for_timeout(100)
    assert not waiting, waiting


def told(noted: list[RunNoted]) -> str:
    """What every run was like."""
    lines = []
    for one in noted:
        thrown = f" [{', '.join(one.thrown_in)}]" if one.thrown_in else ""
        lines.append(f"{one.run_id:4} {one.decided:8} {one.clicks_count} clicks, {one.hands_s:4.1f} s{thrown}")
        lines.append(f"       {one.result}")
        lines += [f"       {sentence}" for sentence in one.said]
    return "\n".join(lines)
