"""Record runs with the rig of a rig file, live, and show what came out.

Each run is armed with the key a (or the rig's own button), begins when the boat reaches the start line, and ends by
itself. Keys: a arm, g go, s stop, v void, f freed, d did not finish, k keep. Nobody touches a boat in the water.
"""

from __future__ import annotations

import argparse
import sys
from contextlib import nullcontext
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from logger.cli.simulate import count_of
from logger.config import BY_HAND, KindOfRun
from logger.errors import InputError

if TYPE_CHECKING:
    from logger.config import Rig, RunCard
    from logger.recording.folder import Event
    from logger.results.trial import Trial
    from logger.station.line import Plan

_KINDS = tuple(kind for kind in get_args(KindOfRun) if kind not in BY_HAND)
_MISSING_CARD = {"format": "boatrun-recording/1"}


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument("--boat", metavar="NAME", help="nickname of the boat; needed without --card")
    parser.add_argument("--card", type=Path, metavar="FILE", help="boat, conditions and rules, as in a recording.toml")
    parser.add_argument("--kind", choices=_KINDS, help="kind of run (default: the card's, or straight)")
    parser.add_argument("--begin", choices=("hands_off", "on_go"), default="hands_off", help="what begins a run")
    parser.add_argument("--times", type=count_of, default=1, metavar="N", help="so many runs, one after the other")
    parser.add_argument("--to", type=Path, default=Path("recordings"), metavar="DIR", help="folder of the recordings")
    parser.add_argument("--store", type=Path, metavar="FILE", help="add the trials to this store as well")
    parser.add_argument("--weigh", action="store_true", help="take the boat's mass from the rig's scale first")


def run(arguments: argparse.Namespace) -> int:
    """Record, measure and show each run."""
    from logger.lesson.planned import plan_of
    from logger.recording.recovery import free_id
    from logger.recording.rig_toml import read_rig
    from logger.results.store import Store

    rig = read_rig(arguments.rig)
    card = _card(arguments, rig)
    _tell_unfinished(arguments.to)
    if arguments.weigh:
        card = replace(card, boat=_weighed(card, rig, arguments.rig))
    with nullcontext() if arguments.store is None else Store(arguments.store) as store:
        for _ in range(arguments.times):
            this = replace(card, id=free_id(arguments.to, card.id), recorded_at=_now())
            plan = plan_of(this, rig, arguments.rig, arguments.to / this.id, begin=arguments.begin)
            _one(plan, arguments.rig, store)
    return 0


def _tell_unfinished(folder: Path) -> None:
    """Recordings that a crash or a pulled plug cut short: they can be measured like any other."""
    from logger.recording.recovery import find_unfinished

    for left in find_unfinished(folder):
        print(
            f"boatrun record: {left} was cut short and is kept; what there is of it: boatrun measure {left}",
            file=sys.stderr,
        )


def _card(arguments: argparse.Namespace, rig: Rig) -> RunCard:
    """The card of the runs to come; its name and time are given to each run."""
    from logger import __version__, settings
    from logger.checkup.machine import clock_is_led
    from logger.lesson.planned import is_simulated
    from logger.recording.card_toml import card_from_table

    table: dict[str, Any] = dict(_MISSING_CARD if arguments.card is None else settings.load_table(arguments.card))
    if arguments.boat is not None and isinstance(table.setdefault("boat", {}), dict):
        table["boat"] = table["boat"] | {"name": arguments.boat}
    if "boat" not in table:
        raise InputError("boatrun record: found no boat; say --boat NAME or --card FILE")
    if arguments.kind is not None:
        table["kind"] = arguments.kind
    clock = "network" if clock_is_led() else "unknown"
    known = {"id": "run", "kind": "straight", "software": f"boatrun {__version__}", "clock_set_by": clock}
    table = known | table
    table["recorded_at"] = _now()
    card = card_from_table(table, file=str(arguments.card or "boatrun record"))
    return replace(card, simulated=card.simulated or is_simulated(rig))


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _weighed(card: RunCard, rig: Rig, path: Path) -> Any:
    from logger.drivers import open_driver

    if rig.scale_driver is None:
        raise InputError(f"{path}: --weigh needs a [scale_driver]; name the rig's scale, or leave --weigh out")
    choice = rig.scale_driver
    with open_driver(choice.kind, choice.options, name="scale", place=str(path)) as scale:
        weighing = scale.weigh(10.0)
    if not weighing.is_steady or weighing.mass_g <= 0:
        raise InputError(
            f"scale: found {weighing.mass_g:g} g, {'steady' if weighing.is_steady else 'not steady'}; wanted a steady "
            "mass above 0; put the boat on it, dry, and wait until it rests"
        )
    print(f"{card.boat.name} weighs {weighing.mass_g:g} g (standard uncertainty {weighing.u_mass_g:.2g} g)", flush=True)
    return replace(card.boat, mass_g=weighing.mass_g, u_mass_g=weighing.u_mass_g)


def _one(plan: Plan, rig_file: Path, store: Any) -> None:
    from logger.drivers import drivers_of, open_driver
    from logger.lesson.planned import tracker_of
    from logger.recording.folder import load
    from logger.results.kept import keep
    from logger.station import rig as station
    from logger.study.summary import summary

    drivers = drivers_of(plan.rig, place=str(rig_file))
    if plan.is_live:
        drivers.append(open_driver("keyboard", {}))
    keys = "; a arms, s stops" if plan.is_live else ""
    print(f"{plan.card.id}: {plan.card.boat.name}, {plan.card.kind}{keys}", flush=True)
    ran = station.run(plan, drivers, tracker=tracker_of(plan, rig_file), store=store, show=_show, wall_time=_now)
    recording = load(ran.recording)
    for note in keep(recording, ran.outcome):
        print(f"boatrun record: {note}", file=sys.stderr)
    print(summary(recording.card, ran.outcome.trial))
    print(f"  kept in {ran.recording}", flush=True)


def _show(what: Event | Trial) -> None:
    """Say every decision as it is made; the trial comes with its summary."""
    from logger.recording.folder import Event

    if isinstance(what, Event):
        detail = f" ({what.detail})" if what.detail else ""
        print(f"  {what.event.replace('_', ' ')}{detail}", flush=True)
