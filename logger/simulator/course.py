"""How a run goes: a path that keeps clear of the walls, a speed that suits the tank, and when it is over."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from logger.simulator import physics
from logger.simulator.basin import Basin
from logger.simulator.hull import Hull
from logger.simulator.tiers import Tier
from logger.simulator.touch import draw_push
from logger.simulator.voyage import Path, TrueLine, Voyage
from logger.simulator.wishes import Wishes, wished

STOP_SPEED_MM_PER_S = 10.0
STOP_FOR_S = 1.0
WALL_MARGIN_MM = 5.0
"""The rules of every simulated run, as its card says them."""
AFTERWARDS_S = 1.75
"""How long the recording goes on after the run is over."""


def draw_voyage(
    rng: np.random.Generator,
    tier: Tier,
    *,
    basin: Basin,
    hull: Hull,
    mass_g: float,
    lines: tuple[TrueLine, ...],
    kind: str,
    asked: Wishes,
    touch_rng: np.random.Generator,
) -> tuple[Voyage, float]:
    """One boat's run from behind the start line, and when it was armed, in seconds of the recording."""
    length, width = (float(np.ptp(hull.outline_mm[:, axis])) for axis in (0, 1))
    start = (-float(hull.support_mm(np.zeros(1))[0]) - rng.uniform(12, 40), 0.0)
    path = _path(rng, basin, hull, start)
    virtual = mass_g * (1 + physics.added_mass_fraction(length_mm=max(length, width), width_mm=min(length, width)))
    fade_mm, fade_s = rng.uniform(2.0, 4.0) * length, rng.uniform(2.5, 5.0)
    may_touch = asked.wall_contact if asked.wall_contact is not None else bool(rng.random() < tier.wall_contact)
    may_touch = may_touch or asked.at_wall
    if may_touch:
        # only a slippery hull gets that far
        fade_mm, fade_s = 1.8 * fade_mm, 1.6 * fade_s
    drag = physics.Drag(virtual, virtual / fade_s, virtual / fade_mm)
    wall_mm = _way_to(path, hull, TrueLine("wall", "wall", basin.front_mm))
    line = lines[1]
    cut_mm = _way_to(path, hull, line) if kind == "drift" else None
    speed = rng.uniform(*tier.speed_mm_per_s)
    late_s, creep = rng.uniform(*tier.cut_late_s), rng.uniform(*tier.creep_mm_per_s)
    if cut_mm is not None and may_touch:
        enough = _speed_for(drag, 1.2 * (wall_mm - cut_mm))
        speed = max(speed, min(enough, 1.3 * tier.speed_mm_per_s[1]))
    elif cut_mm is not None:
        for _ in range(2):
            speed = min(speed, _speed_for(drag, 0.93 * (wall_mm - cut_mm) - late_s * speed))
    speed = wished(asked.speed_mm_per_s, speed)
    thrust = physics.Thrust(
        float(drag.force(speed)), rng.uniform(0.1, 0.4),
        tuple((rng.uniform(0, 0.06), rng.uniform(2, 9), rng.uniform(0, 2 * np.pi)) for _ in range(3)),
    )  # fmt: skip
    bounce = rng.uniform(0, 0.3) * (not asked.at_wall)
    if asked.rest_s:
        creep = 0.0
    if asked.at_wall and cut_mm is not None:
        # what its own way does not do, a draught does within half a minute
        creep = max(creep, (wall_mm - cut_mm) / 30.0)
    way = physics.Way(cut_mm, late_s, wall_mm, bounce, float(drag.force(creep)))
    motion = physics.run(drag, thrust, way, until_s=120.0)
    armed_s = rng.uniform(0.4, 0.8) + (asked.enters_s or 0.0)
    voyage = Voyage(path, motion, hull, armed_s + rng.uniform(0.6, 1.2) + asked.wait_s, drag=drag)
    if asked.touch:
        over_s = end(voyage, lines, kind)[0] - voyage.go_s
        met_s = voyage.meets_s(basin.front_mm, until_s=voyage.go_s + over_s)
        push = draw_push(touch_rng, motion, until_s=over_s if met_s is None else met_s - voyage.go_s)
        motion = physics.run(drag, thrust, way, until_s=120.0, push=push)
        voyage = replace(voyage, motion=motion, push=push)
    return voyage, float(armed_s)


def _speed_for(drag: physics.Drag, reach_mm: float) -> float:
    """The speed from which a coast comes to rest within `reach_mm`."""
    return drag.a_g_per_s / drag.b_g_per_mm * math.expm1(reach_mm * drag.b_g_per_mm / drag.mass_g)


def _path(rng: np.random.Generator, basin: Basin, hull: Hull, start: tuple[float, float]) -> Path:
    """A winding path that keeps clear of the side walls: the straighter the narrower the tank."""
    reach = float(np.hypot(*hull.outline_mm.T).max())
    half = float(np.ptp(hull.outline_mm[:, 1])) / 2
    free = basin.half_width_mm - half - 10
    aside, course = rng.uniform(-0.25, 0.25) * free, rng.uniform(-0.05, 0.05)
    leeway = rng.uniform(-0.05, 0.05)
    swings = [(rng.uniform(0.01, 0.07), rng.uniform(600, 2500), rng.uniform(0, 2 * np.pi)) for _ in range(2)]
    for calm in (1.0, 0.7, 0.5, 0.3, 0.15, 0.05, 0.0):
        path = Path(
            start_mm=(start[0], aside * calm), course_rad=course * calm, leeway_rad=leeway * calm,
            bends=tuple((size * calm, wave, phase) for size, wave, phase in swings),
            length_mm=1.15 * (basin.front_mm - start[0]),
        )  # fmt: skip
        way = np.arange(0.0, basin.front_mm - start[0], 20.0)
        pose = path.at(way)
        lean = half + reach * np.abs(np.sin(pose[:, 2]))
        if (np.abs(pose[:, 1]) + lean < basin.half_width_mm - 2 * WALL_MARGIN_MM).all():
            return path
    return path


def _way_to(path: Path, hull: Hull, line: TrueLine) -> float:
    """The way at which the bow reaches `line`, mm."""

    def past(way: float) -> float:
        x, y, heading = path.at(way)[0]
        reach = float(hull.support_mm(np.array([line.normal_rad - heading]))[0])
        return float(x * np.cos(line.normal_rad) + y * np.sin(line.normal_rad) + reach - line.place_mm)

    return float(brentq(past, -99.0, line.place_mm + 900.0, xtol=1e-12))


def end(voyage: Voyage, lines: tuple[TrueLine, ...], kind: str, *, rest_s: float = 0.0) -> tuple[float, float]:
    """When the run ends by its rule, and how long the recording is: it goes on a little, and for `rest_s` more."""
    limit = voyage.go_s + 60.0
    if kind == "straight":
        finished = voyage.crossing_s(lines[1], until_s=limit)
        over = limit if finished is None else finished
        return over, over + AFTERWARDS_S + rest_s
    slow = voyage.slower_s(STOP_SPEED_MM_PER_S, until_s=limit)
    over = limit if slow is None else slow + STOP_FOR_S
    return over, over + AFTERWARDS_S + rest_s
