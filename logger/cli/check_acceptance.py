"""Lead through the acceptance of a rig, item by item, keep what came of it, and print the report to sign.

All is told from the files, so whoever stops finds it where it was left; the same command goes on. After a change of the
rig file, the calibration or the software it begins anew.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from logger.checkup.acceptance import Item
    from logger.checkup.machine import Machine
    from logger.guide.accept_items import At, Did
    from logger.recording.acceptance_file import Acceptance

Ask = Callable[[str], str]


def describe(parser: argparse.ArgumentParser) -> None:
    """The arguments that go with --acceptance."""
    group = parser.add_argument_group("acceptance")
    group.add_argument(
        "--acceptance",
        action="store_true",
        help="lead through all that a new rig must pass, and print a report to sign",
    )
    group.add_argument(
        "--do", metavar="LIST", help="do these items now without asking, such as check,straws,ripples,light,plug"
    )
    group.add_argument(
        "--known-length", nargs=3, metavar=("END", "END", "MM"),
        help="for plane: two ends, each #MARK/HEIGHT or COLUMN,ROW/HEIGHT, and what lies between them",
    )  # fmt: skip
    group.add_argument("--picture", type=Path, metavar="FILE", help="for plane: in this picture (default: take one)")
    group.add_argument("--pulls", nargs="+", metavar="RECORDING", help="for pulls: the check boat's recordings")
    group.add_argument("--light-from", metavar="FOLDER", help="for light: a session of today that was kept")
    group.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper of the report (default: a4)")


def run(arguments: argparse.Namespace, *, computer: Machine | None = None, ask: Ask | None = None) -> int:
    """Lead on, or do what --do names; 0 only if every item has passed.

    Args:
        arguments: As `describe` and boatrun check have them.
        computer: The computer to ask; None: this one.
        ask: Asks people; None: the terminal, if there is one.
    """
    from logger.checkup.acceptance import items_of
    from logger.checkup.machine import Machine
    from logger.recording.rig_toml import read_rig

    rig = read_rig(arguments.rig)
    lead = _Lead(arguments, items_of(rig), computer or Machine())
    if arguments.do is not None:
        lead.do_all(_named(arguments.do, lead.items))
    elif ask is not None or sys.stdin.isatty():
        lead.on(ask or input)
    else:
        lead.show()
    return lead.end()


def _named(text: str, items: Sequence[Item]) -> list[Item]:
    """The items that a list names; a word without a gate means all of its gates."""
    found: list[Item] = []
    for word in dict.fromkeys(part.strip() for part in text.split(",") if part.strip()):
        named = [item for item in items if word in (item.name, item.kind)]
        if not named:
            listed = ", ".join(item.name for item in items)
            raise InputError(f"check --do: found {word!r}; wanted items of {listed}; see --acceptance")
        found += named
    return found


class _Lead:
    """One sitting."""

    def __init__(self, arguments: argparse.Namespace, items: Sequence[Item], computer: Machine) -> None:
        from logger.checkup.acceptance import begun
        from logger.recording.acceptance_file import KIND, read_acceptance, to_take_up
        from logger.recording.light_evidence import new_evidence_folder
        from logger.recording.rig_toml import read_rig

        self._arguments, self.items, self._computer = arguments, items, computer
        path = arguments.rig
        self._rig = read_rig(path)
        fresh = begun(path, self._rig, at=_now())
        below = path.absolute().parent / KIND
        there = to_take_up(below, fresh)
        self._folder = there or new_evidence_folder(below, datetime.now().astimezone(), kind=KIND)
        self._it: Acceptance = fresh if there is None else read_acceptance(there)
        if there is None and any(below.glob(f"{KIND}-*/*.json")):
            _say("rig file, calibration or software have changed since the last acceptance: it begins anew")
        self._keep()

    # --- what is done ---

    def on(self, ask: Ask) -> None:
        """From item to item, asking."""
        later: set[str] = set()
        while True:
            self.show(later)
            waiting = [item for item in self.items if not self._passed(item) and item.name not in later]
            if not waiting:
                return
            item = waiting[0]
            print(f"\n{item.title} is next. {item.how}", flush=True)
            answer = _answer(item, ask, begun=self._plug_is_pulled(item))
            if answer is None:
                print("stopped; the same command goes on from here")
                return
            if answer == ["l"] or not self._done(item, answer):
                later.add(item.name)

    def do_all(self, items: Sequence[Item]) -> None:
        """Do these, without asking."""
        for item in items:
            self._done(item, self._given(item))

    def _given(self, item: Item) -> list[str]:
        """What the command line says for an item."""
        given = {
            "plane": self._arguments.known_length,
            "pulls": self._arguments.pulls,
            "light": None if self._arguments.light_from is None else [self._arguments.light_from],
        }
        return list(given.get(item.kind) or [])

    def _done(self, item: Item, typed: Sequence[str]) -> bool:
        """Do one and keep what came of it; whether there is a verdict."""
        from logger.guide.accept_items import Did, do

        print(f"{item.title} ...", flush=True)
        came = do(item, self._at(), typed)
        if not isinstance(came, Did):
            print(f"  not done: {came.why}", flush=True)
            return False
        self._add(item, came)
        return True

    def _add(self, item: Item, did: Did) -> None:
        from logger.recording.acceptance_file import Try

        judged = did.judged
        print(f"  {'pass' if judged.passed else 'FAIL'}   {judged.found[0]}")
        for sentence in judged.found[1:]:
            print(f"         {sentence}")
        if judged.cure:
            print(f"         -> {judged.cure}")
        verdict = "pass" if judged.passed else "fail"
        self._it = self._it.with_try(Try(item.name, verdict, judged.found, judged.cure, _now(), did.evidence))  # type: ignore[arg-type]
        self._keep()

    def _at(self) -> At:
        from logger.guide.accept_items import At

        recordings = self._arguments.recordings or self._arguments.rig.absolute().parent / "recordings"
        return At(
            self._arguments.rig, self._rig, self._folder, recordings, _say, self._computer, self._arguments.picture
        )

    def _passed(self, item: Item) -> bool:
        last = self._it.last(item.name)
        return last is not None and last.verdict == "pass"

    def _plug_is_pulled(self, item: Item) -> bool:
        from logger.checkup import plug

        if item.kind != plug.NAME:
            return False
        begun = plug.begun_in(self._folder)
        return begun is not None and begun.boot_id != plug.boot_id(self._computer.root)

    # --- what is shown and kept ---

    def show(self, later: set[str] | None = None) -> None:
        """How far it is, one line an item."""
        print()
        for number, item in enumerate(self.items, 1):
            last = self._it.last(item.name)
            sign = "to do" if last is None else "pass" if last.verdict == "pass" else "FAIL"
            found = "" if last is None else last.found[0]
            left = " (left for later)" if later and item.name in later else ""
            print(f"{number}. {sign:<5}  {item.title} [{item.name}]{left}")
            if found:
                print(f"          {found}")

    def _keep(self) -> None:
        from logger.recording.acceptance_file import write_acceptance

        write_acceptance(self._folder, self._it)

    def end(self) -> int:
        """Print the report and say how it stands; the exit status."""
        from logger.recording.acceptance_file import REPORT
        from logger.settings import write_whole
        from logger.study.acceptance_sheet import acceptance_report, answer, rows
        from logger.study.paper import PAPERS

        titles = {item.name: item.title for item in self.items}
        made = acceptance_report(self._it, titles, PAPERS[self._arguments.paper], printed_at=_now())
        write_whole(self._folder / REPORT, made)
        print(f"\n{answer(rows(self._it, titles))}", f"report to print and sign: {self._folder / REPORT}", sep="\n")
        return 0 if self._it.passed else 2


def _answer(item: Item, ask: Ask, *, begun: bool) -> list[str] | None:
    """What was typed for an item; ["l"]: later; None: stop."""
    wanted = f"type {item.blank}" if item.blank else "Enter to begin"
    if begun:
        wanted = "the plug was pulled: Enter to see what was kept"
    while True:
        try:
            said = ask(f"{wanted}, l to leave it for later, q to stop: ").strip()
        except EOFError:
            return None
        if said == "q":
            return None
        if said == "l":
            return ["l"]
        try:
            words = shlex.split(said)
        except ValueError:
            print("  the quotes do not match")
            continue
        if words or not item.blank:
            return words


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _say(words: str) -> None:
    """Tell people at the tank; a call rings the terminal's bell, for they look at the water."""
    bell = "\a" if words.lstrip().startswith("now:") and sys.stderr.isatty() else ""
    print(bell + words, file=sys.stderr, flush=True)
