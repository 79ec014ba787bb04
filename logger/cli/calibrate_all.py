"""Lead through all of calibration, step by step: lens, water plane, lines, light, boats' cards, gates, check.

Each step says what is done, what is next and what is old, with the pictures to look at. At a terminal the next step's
command is run once you have given what it needs; without one, or with --list, it is only shown. Everything is told from
the files around the rig file, so stop whenever you like: the same command goes on where you left off. Evidence is
looked for in the folders lens, plane, places, light and gates beside the rig file, boats' cards in cards.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from logger.checkup.steps import Step

_SIGNS = {"done": "done", "old": "OLD", "to do": "to do", "not needed": "-"}


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument("--list", action="store_true", help="only show how far it is")


def run(arguments: argparse.Namespace) -> int:
    """Show how far it is; at a terminal lead on."""
    ask = input if sys.stdin.isatty() and not arguments.list else None
    later: set[str] = set()
    while True:
        found = _steps(arguments.rig)
        print(told(found))
        waiting = [step for step in found if step.standing in ("to do", "old") and step.name not in later]
        if not waiting:
            print("all is done" if not later else f"left for later: {', '.join(sorted(later))}")
            return 0
        step = waiting[0]
        print(_invited(step))
        if ask is None:
            return 0
        answer = _answer(step, ask)
        if answer is None:
            print("stopped; the same command goes on from here")
            return 0
        if not answer:
            later.add(step.name)
            continue
        _done(answer)


def _steps(path: Path) -> list[Step]:
    from logger.checkup.steps import steps
    from logger.recording.rig_toml import read_rig

    return steps(path, read_rig(path), today=date.today())


def told(found: Sequence[Step]) -> str:
    """All steps, one a line, with their pictures below."""
    lines = []
    for number, step in enumerate(found, 1):
        lines.append(f"{number}. {step.name:<6} {_SIGNS[step.standing]:<6} {step.found}")
        lines += [f"                   look at {picture}" for picture in step.pictures]
    return "\n".join(lines)


def _invited(step: Step) -> str:
    again = "again, for it is old" if step.standing == "old" else "next"
    return f"\n{step.name} is {again}. {step.how}\n  boatrun {shlex.join(step.words)}"


def _answer(step: Step, ask: Callable[[str], str]) -> list[str] | None:
    """The command's words as filled in; empty: later; None: stop."""
    wanted = f"type what stands for {step.blank}" if step.blank else "y to do it now"
    while True:
        try:
            said = ask(f"{wanted}, l to leave it for later, q to stop: ").strip()
        except EOFError:
            return None
        if said in ("q", "l"):
            return None if said == "q" else []
        if not step.blank:
            if said == "y":
                return list(step.words)
            continue
        try:
            filled = shlex.split(said)
        except ValueError:
            print("  the quotes do not match")
            continue
        if filled:
            return _filled(step, filled)


def _filled(step: Step, filled: Sequence[str]) -> list[str]:
    if step.name == "cards":
        name = filled[0]
        card = Path(name) if name.endswith(".toml") else _card_beside(step, name)
        return ["boat", str(card), *([] if card.exists() else ["--name", name.removesuffix(".toml")]), *filled[1:]]
    at = step.words.index(step.blank)
    return [*step.words[:at], *filled, *step.words[at + 1 :]]


def _card_beside(step: Step, name: str) -> Path:
    folder = Path(step.folder)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror}); make it, or give a path") from error
    plain = "".join(letter if letter.isalnum() else "-" for letter in name.lower()).strip("-") or "boat"
    return folder / f"{plain}.toml"


def _done(words: Sequence[str]) -> None:
    """Run the command as if it had been typed; what goes wrong is told by it, and the step stays where it was."""
    from logger.cli import main

    print(f"\n> boatrun {shlex.join(words)}", flush=True)
    try:
        status = main(words)
    except SystemExit as left:  # how argparse says that words are wrong
        status = int(left.code or 0)
    if status:
        print("  that was not done; mend it and try again, or leave it for later")
    print()
