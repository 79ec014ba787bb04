"""Make a boat's card, or change it: asks for what is not given, and for what seems impossible once more.

Lengths may be typed in mm, cm or inches (8 1/4 in), masses in g, kg or oz; they are kept in mm and g. Each carries the
doubt of its reading: of a ruler in steps of 1 mm, a scale in steps of 1 g, unless you say otherwise (210 ± 2). Measure
the length and width over all, the freeboard from the still water up to the deck amidships, the tag's height from the
water up to its print. Weigh it dry.

The card goes to boatrun record --card. A rebuilt boat is a new version (--rebuilt). The card as it was is kept beside
it under its date. Use a nickname of the boat or the team, never a child's name.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from logger.config import Boat
    from logger.recording.boat_card import Steps

_NUMBERS = {
    "length_mm": ("--length", "length over all"),
    "width_mm": ("--width", "greatest width"),
    "freeboard_mm": ("--freeboard", "from the still water up to the deck"),
    "mass_g": ("--mass", "mass as it runs, dry"),
    "mast_height_mm": ("--mast", "top of the mast above the water, if there is one"),
    "tag.size_mm": ("--tag-size", "side of the tag's black square, or diameter of the disc"),
    "tag.height_mm": ("--tag-height", "print of the tag above the water"),
    "tag.bow_ahead_mm": ("--tag-bow", "from the middle of the tag forward to the bow"),
}
_WORDS = ("name", "team", "colour", "material")
_LATER = ("mast_height_mm", "tag.size_mm", "tag.bow_ahead_mm")
"""Not asked for, for they can mostly do without."""


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("card", type=Path, metavar="CARD", help="the card's file, such as swan.toml; new or changed")
    parser.add_argument("--name", metavar="NAME", help="nickname of the boat")
    parser.add_argument("--team", metavar="NAME", help="nickname of the team")
    parser.add_argument("--colour", metavar="WORD", help="colour in words")
    parser.add_argument("--material", metavar="WORD", help="what the hull is made of, such as foil")
    for name, (option, words) in _NUMBERS.items():
        parser.add_argument(option, dest=name, metavar="READING", help=words)
    parser.add_argument("--tag", choices=("square", "disc", "none"), help="what is stuck on the deck")
    parser.add_argument("--tag-number", type=_count, metavar="N", help="number printed below the square")
    parser.add_argument("--ruler-step", default="1 mm", metavar="READING", help="smallest step of the ruler (1 mm)")
    parser.add_argument("--scale-step", default="1 g", metavar="READING", help="smallest step of the scale (1 g)")
    parser.add_argument("--rebuilt", action="store_true", help="the boat was rebuilt: count its version up")
    parser.add_argument("--sure", action="store_true", help="believe also what seems impossible")


def run(arguments: argparse.Namespace) -> int:
    """Read, ask, check, write, tell."""
    from logger.recording.boat_card import oddities, tag_of, write_boat

    ask = input if sys.stdin.isatty() else None
    old = _old(arguments, ask)
    boat = replace(old, **{k: v for k in _WORDS if (v := getattr(arguments, k)) is not None})
    if arguments.rebuilt:
        boat = replace(boat, version=boat.version + 1)
    boat = replace(boat, tag=tag_of(arguments.tag, arguments.tag_number, boat.tag))
    boat = _measured(boat, arguments, _steps(arguments), ask)
    odd = oddities(boat)
    if odd and not arguments.sure:
        raise InputError(f"{arguments.card}: {' | '.join(odd)}; nothing was written; --sure if it is so all the same")
    older = write_boat(arguments.card, boat, at=datetime.now().astimezone())
    print(told(boat))
    print(f"card: {arguments.card}" + (f"; as it was before: {older}" if older is not None else ""))
    if old.version == boat.version and older is not None and _is_remade(old, boat):
        print("  note: sizes or mass changed; was the boat rebuilt? Then do it again with --rebuilt")
    return 0


def _old(arguments: argparse.Namespace, ask: Callable[[str], str] | None) -> Boat:
    from logger.config import Boat, Name
    from logger.recording.boat_card import read_boat

    if arguments.card.exists():
        return read_boat(arguments.card)
    if arguments.rebuilt:
        raise InputError(f"{arguments.card}: there is no such card yet; --rebuilt is for a boat that has one")
    name = arguments.name or (ask("nickname of the boat: ").strip() if ask is not None else "")
    complaint = Name.__metadata__[0].complaint(name)  # type: ignore[attr-defined]
    if complaint is not None:
        raise InputError(f"boatrun boat: --name: found {name!r}; wanted {complaint}")
    return Boat(name)


def _steps(arguments: argparse.Namespace) -> Steps:
    from calibration.readings import read_length, read_mass
    from logger.recording.boat_card import Steps

    try:
        steps = Steps(read_length(arguments.ruler_step).value, read_mass(arguments.scale_step).value)
    except ValueError as error:
        raise InputError(f"boatrun boat: --ruler-step, --scale-step: {error}") from error
    if min(steps.ruler_mm, steps.scale_g) <= 0:
        raise InputError("boatrun boat: --ruler-step, --scale-step: wanted steps above 0")
    return steps


def _measured(boat: Boat, arguments: argparse.Namespace, steps: Steps, ask: Callable[[str], str] | None) -> Boat:
    """The card with what was given; what is missing is asked for at a terminal."""
    from logger.recording.boat_card import number_of, oddities, with_numbers

    given = {name: getattr(arguments, name) for name in _NUMBERS}
    asking = ask is not None and not any(given.values())
    for name, (option, words) in _NUMBERS.items():
        if name.startswith("tag.") and boat.tag is None and given[name] is None:
            continue
        text, before = given[name], oddities(boat)
        if asking and ask is not None and name not in _LATER:
            text = ask(f"{words}{_so_far(boat, name)}: ").strip() or None
        while text is not None:
            try:
                made = with_numbers(boat, number_of(name, text, steps))
            except ValueError as error:
                if not asking or ask is None:
                    raise InputError(f"boatrun boat: {option}: {error}") from error
                print(f"  {error}")
                text = ask(f"{words}: ").strip() or None
                continue
            odd = [one for one in oddities(made) if one not in before]
            if not (odd and asking and ask is not None) or arguments.sure:
                boat, text = made, None
                continue
            print("".join(f"  {one}\n" for one in odd), end="")
            again = ask(f"{words} (type it again): ").strip()
            if again == text:
                arguments.sure = True
            text = again or None
    return boat


def _so_far(boat: Boat, name: str) -> str:
    head, _, last = name.rpartition(".")
    value = getattr(boat.tag if head else boat, last)
    return "" if value is None else f" (now {value:g}; Enter keeps it)"


def _is_remade(old: Boat, boat: Boat) -> bool:
    return any(
        (a := getattr(old, n)) is not None and a != getattr(boat, n) for n in ("length_mm", "width_mm", "mass_g")
    )


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted the number printed below the square")
    return int(text)


def told(boat: Boat) -> str:
    """The card for a person."""
    lines = [f"{boat.name}, version {boat.version}" + (f", team {boat.team}" if boat.team else "")]
    for name in ("length_mm", "width_mm", "freeboard_mm", "mass_g"):
        words, _, unit = name.rpartition("_")
        value = getattr(boat, name)
        if value is None:
            lines.append(f"  {words}: not known")
        else:
            lines.append(f"  {words} {value:g} {unit}, standard uncertainty {getattr(boat, f'u_{name}'):g} {unit}")
    if boat.tag is not None:
        number = "" if boat.tag.number is None else f" {boat.tag.number}"
        height = "on deck"
        if boat.tag.height_mm is not None:
            height = f"{boat.tag.height_mm:g} mm above the water, standard uncertainty {boat.tag.u_height_mm:g} mm"
        lines.append(f"  {boat.tag.kind}{number}, {boat.tag.size_mm:g} mm, {height}")
    return "\n".join(lines)
