"""A simulated tank that is there all the time: for practising a whole lesson without water. Only by its name.

Between runs nothing happens in it. When a boat is launched, its run is painted beforehand, in a process of its own, and
then told in the time that it takes, stamped by this computer's clock like that of a real tank. An invented crew lets
the boat go, at once or on the word, and now and then something goes wrong, where the rig file says so.
"""

from __future__ import annotations

import time
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from multiprocessing import get_context
from typing import Annotated, Any, ClassVar, Literal, Self, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.child import end_with_parent
from logger.config import CAMERA_SOURCE, GATES_SOURCE, RunCard
from logger.drivers.interface import Stop
from logger.drivers.simulated_stage import Painted, Stage, broken_twice, turned_back
from logger.errors import DriverError, InputError
from logger.records import Edge, Fault, Frame, Quiet
from logger.settings import Range
from logger.simulator.boats import PAINTS
from logger.simulator.live import SimulatedTank

Mishap: TypeAlias = Literal[
    "stuck", "beam_blocked", "hand", "camera_unplugged", "touched", "early", "broken_twice", "turned_back"
]
"""The boat loses its wind halfway · something stands in the first beam as the boat is called · a hand goes through the
first beam before the boat does · the camera's cable comes off in the middle of the run · somebody prods the boat · it
is let go before the word · an arm goes through the first beam once more behind it · the wind turns between the beams
and brings it back to where it came from."""

_WAIT_S = 0.02
_IDLE_NS = 200_000_000
"""Between two pictures of an empty tank, and of one in which everything has come to rest."""
_BLOCKED_NS = 12_000_000_000
_HAND_NS = (900_000_000, 1_150_000_000)
_UNPLUGGED_SHARE = 0.5
_SPREAD_SHARE = 0.06
"""Boats scatter by so much from run to run."""
_WAITS_S = 1.5
"""So much longer than usual a boat waits, for the rig to be armed."""


@dataclass(frozen=True, slots=True)
class LiveOptions:
    """What rig.toml says of the tank and its crew."""

    seed: Annotated[int, Range(least=0)] = 1
    """Same seed, same boat, same name of a run: same run."""
    run_kind: Literal["straight", "drift"] = "straight"
    """For which kind of run its lines and beams stand."""
    wishes: dict[str, Any] = field(default_factory=dict)
    """What is fixed of the tank; see logger/simulator/wishes.py."""
    speeds_mm_per_s: dict[str, float] = field(default_factory=dict)
    """Name of a boat -> the speed that it usually reaches in the end; without it, drawn anew for every run."""
    mishaps: dict[str, str] = field(default_factory=dict)
    """Name of a run, such as r3 -> what goes wrong in it."""
    hands_every_s: Annotated[float, Range(above=0)] | None = None
    """A hand goes through the first beam so often."""
    unplugged_after_s: Annotated[float, Range(above=0)] | None = None
    """The cable comes off so long after it was opened, every time."""

    def tank(self, **asked: Any) -> SimulatedTank:
        """The tank without any boat that matters. InputError, TypeError: a wish that is not known."""
        return SimulatedTank(kind=self.run_kind, seed=self.seed, begins_ns=0, **self.wishes | asked)


def tank_of(card: RunCard, options: LiveOptions) -> SimulatedTank:
    """The tank with the boat of `card` in it. InputError: a wish that is not known."""
    boat = card.boat
    mishap = options.mishaps.get(card.id)
    asked: dict[str, Any] = {
        "length_mm": boat.length_mm, "width_mm": boat.width_mm, "freeboard_mm": boat.freeboard_mm,
        "mass_g": boat.mass_g, "flare": 0.0, "wait_s": _WAITS_S, "rig_errors": False,
    }  # fmt: skip
    if boat.tag is not None:
        asked |= {"tag": boat.tag.kind, "tag_number": boat.tag.number, "tag_size_mm": boat.tag.size_mm}
    if boat.colour in PAINTS:
        asked["paint"] = boat.colour
    asked = {name: value for name, value in asked.items() if value is not None} | options.wishes
    if mishap == "touched":
        asked["touch"] = True
    kind = "drift" if options.run_kind == "drift" or mishap == "stuck" else "straight"
    draw = zlib.crc32(f"{options.seed} {card.id} {boat.name} {boat.version}".encode())
    if boat.name in options.speeds_mm_per_s:
        spread = np.random.default_rng(draw).normal(1.0, _SPREAD_SHARE)
        asked["speed_mm_per_s"] = options.speeds_mm_per_s[boat.name] * float(np.clip(spread, 0.7, 1.3))
    return SimulatedTank(kind=kind, seed=draw, begins_ns=0, source="simulated", **asked)


def painted(card: RunCard, options: LiveOptions, *, with_pictures: bool) -> Painted:
    """The whole run of a boat, drawn by the card, the options and nothing else."""
    tank = tank_of(card, options)
    go_ns = next(key.t_ns for key in tank.pressed() if key.key == "go")
    pictures: list[tuple[int, bytes]] = []
    exposure_ns = line_ns = 0
    for frame in tank.frames() if with_pictures else ():
        assert frame.jpeg is not None  # noqa: S101 - the simulated camera compresses every picture
        pictures.append((frame.t_ns, frame.jpeg))
        exposure_ns, line_ns = frame.exposure_ns, frame.line_ns
    made = Painted(tuple((edge.t_ns, edge) for edge in tank.edges()), tuple(pictures), exposure_ns, line_ns, go_ns)
    match options.mishaps.get(card.id):
        case "turned_back":
            return turned_back(made)
        case "broken_twice":
            return broken_twice(made)
        case _:
            return made


class SimulatedLiveGates:
    """The beams of the tank."""

    Options: ClassVar[type] = LiveOptions

    def __init__(
        self,
        options: LiveOptions,
        *,
        name: str = GATES_SOURCE,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._stage: Stage[Edge] = Stage()
        self._blocked_until_ns = 0
        self._expected = ""
        self._first, self._gates = "", frozenset[str]()

    def __enter__(self) -> Self:
        gates = _opened(self.name, self._options).rig.gates
        self._first, self._gates = gates[0].name, frozenset(gate.name for gate in gates)
        return self

    def __exit__(self, *_: object) -> None:
        self._stage.end()

    def expect(self, card: RunCard) -> None:
        """A boat is called; something may be left in the first beam then."""
        if self._expected == card.id:
            return
        self._expected = card.id
        if self._options.mishaps.get(card.id) == "beam_blocked":
            self._blocked_until_ns = self._clock() + _BLOCKED_NS

    def launch(self, card: RunCard) -> None:
        """Put the boat in."""
        run = painted(card, self._options, with_pictures=False)
        edges, mishap = run.edges, self._options.mishaps.get(card.id)
        if mishap == "hand":
            first = _opened(self.name, self._options).rig.gates[0].name
            passing = tuple(
                (t_ns, Edge(t_ns, first, blocked, self.name))
                for t_ns, blocked in zip(_HAND_NS, (True, False), strict=True)
            )
            edges = tuple(sorted((*edges, *passing), key=lambda one: one[0]))
        self._stage.set(edges, run.go_ns, obeys=mishap != "early")

    def set_off(self, t_ns: int, *, on_go: bool) -> None:
        """Its run begins."""
        self._stage.set_off(t_ns, on_go=on_go)

    def go(self, t_ns: int) -> None:
        """The word is given."""
        self._stage.go(t_ns)

    def records(self, stop: Stop) -> Iterator[Edge | Quiet | Fault]:
        """Every edge, until `stop` is set."""
        begun_ns = last_ns = self._clock()
        is_blocked = False
        yield Quiet(last_ns, self.name)
        coming = [one for one in self._stage.story if one[1].gate in self._gates]
        while not stop.is_set():
            now_ns = max(self._clock(), last_ns)
            if (
                self._options.unplugged_after_s is not None
                and now_ns - begun_ns > self._options.unplugged_after_s * 1e9
            ):
                yield Fault(now_ns + 1, self.name, "the board is gone", "plug it in again", lasting=True)
                return
            if self._has_something_in_it(now_ns, begun_ns) != is_blocked:
                is_blocked, last_ns = not is_blocked, now_ns + 1
                yield Edge(last_ns, self._first, is_blocked, self.name)
            while coming and self._stage.begins_ns is not None:
                due_ns = self._stage.when_ns(coming[0][0])
                if due_ns is None or due_ns > now_ns:
                    break
                last_ns = max(due_ns, last_ns + 1)
                yield replace(coming.pop(0)[1], t_ns=last_ns, source=self.name)
            last_ns = max(last_ns, now_ns)
            yield Quiet(last_ns, self.name)
            self._wait(_WAIT_S)

    def _has_something_in_it(self, now_ns: int, begun_ns: int) -> bool:
        """Whether something other than a boat breaks the first beam."""
        every_s = self._options.hands_every_s
        is_hand = every_s is not None and (now_ns - begun_ns) / 1e9 % every_s > every_s / 2
        return is_hand or now_ns < self._blocked_until_ns


class SimulatedLiveCamera:
    """The camera above the tank."""

    Options: ClassVar[type] = LiveOptions

    def __init__(
        self,
        options: LiveOptions,
        *,
        name: str = CAMERA_SOURCE,
        clock: Callable[[], int] = time.monotonic_ns,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self.name = name
        self._options, self._clock, self._wait = options, clock, wait
        self._stage: Stage[bytes] = Stage()
        self._pool: ProcessPoolExecutor | None = None
        self._coming: tuple[RunCard, Future[Painted]] | None = None
        self._run = Painted((), (), 0, 0, 0)
        self._empty: bytes | None = None
        self._unplugged_after_ns: int | None = None
        self._sequence_count = 0

    def __enter__(self) -> Self:
        if self._empty is None:
            self._empty = next(_opened(self.name, self._options, enters_s=30.0).frames()).jpeg
        return self

    def __exit__(self, *_: object) -> None:
        self._stage.end()
        self._unplugged_after_ns = None

    def expect(self, card: RunCard) -> None:
        """A boat is called: begin to paint its run."""
        if self._coming is not None and _same(self._coming[0], card):
            return
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=end_with_parent)
        if self._coming is not None:
            self._coming[1].cancel()
        self._coming = (card, self._pool.submit(painted, card, self._options, with_pictures=True))

    def launch(self, card: RunCard) -> None:
        """Wait until it is painted, and put it in."""
        self.expect(card)
        assert self._coming is not None  # noqa: S101 - just expected
        try:
            self._run = self._coming[1].result()
        except (InputError, TypeError) as error:
            raise DriverError(f"{self.name}: {error}") from error
        self._coming = None
        mishap = self._options.mishaps.get(card.id)
        self._stage.set(self._run.pictures, self._run.go_ns, obeys=mishap != "early")
        if mishap == "camera_unplugged":
            self._unplugged_after_ns = round(_UNPLUGGED_SHARE * self._run.pictures[-1][0])

    def set_off(self, t_ns: int, *, on_go: bool) -> None:
        """Its run begins."""
        self._stage.set_off(t_ns, on_go=on_go)

    def go(self, t_ns: int) -> None:
        """The word is given."""
        self._stage.go(t_ns)

    def records(self, stop: Stop) -> Iterator[Frame | Quiet | Fault]:
        """Every picture of the run, or of the empty tank, until `stop` is set."""
        begun_ns = last_ns = self._clock()
        shown, self._sequence_count = self._empty, 0
        yield Quiet(last_ns, self.name)
        coming = list(self._stage.story)
        while not stop.is_set():
            now_ns = self._clock()
            while coming and self._stage.begins_ns is not None:
                after_ns, picture = coming[0]
                due_ns = self._stage.when_ns(after_ns)
                if due_ns is None or due_ns > now_ns:
                    break
                if self._unplugged_after_ns is not None and after_ns > self._unplugged_after_ns:
                    yield self._gone(now_ns)
                    return
                coming.pop(0)
                shown = picture
                if due_ns > last_ns:  # else it was taken before anybody looked
                    last_ns = due_ns
                    yield self._frame(due_ns, picture)
            if (
                self._options.unplugged_after_s is not None
                and now_ns - begun_ns > self._options.unplugged_after_s * 1e9
            ):
                yield self._gone(now_ns)
                return
            is_held = not coming or self._stage.begins_ns is None or self._stage.when_ns(coming[0][0]) is None
            if is_held and shown is not None and now_ns - last_ns >= _IDLE_NS:
                last_ns = now_ns
                yield self._frame(now_ns, shown)
            elif now_ns - last_ns >= _IDLE_NS // 4:
                yield Quiet(now_ns, self.name)
            self._wait(_WAIT_S)

    def _gone(self, now_ns: int) -> Fault:
        return Fault(now_ns + 1, self.name, "the camera is gone", "plug it in again", lasting=True)

    def _frame(self, t_ns: int, jpeg: bytes) -> Frame:
        self._sequence_count += 1
        return Frame(
            t_ns, partial(_decoded, jpeg), self._sequence_count - 1, self.name,  # type: ignore[arg-type]
            exposure_ns=self._run.exposure_ns, line_ns=self._run.line_ns, jpeg=jpeg,
        )  # fmt: skip


def _same(one: RunCard, other: RunCard) -> bool:
    return (one.id, one.boat, one.kind) == (other.id, other.boat, other.kind)


def _opened(name: str, options: LiveOptions, **asked: Any) -> SimulatedTank:
    """The tank as the options want it. DriverError: they cannot be had."""
    try:
        return options.tank(**asked)
    except (InputError, TypeError) as error:
        raise DriverError(f"{name}: {error}") from error


def _decoded(jpeg: bytes) -> NDArray[np.uint8]:
    image = np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR), np.uint8)
    image.setflags(write=False)
    return image
