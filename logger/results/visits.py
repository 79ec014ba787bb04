"""Which ports, obstacles and rings the boat came to, when, and how sure that is.

The boat is at a zone while any part of its waterline lies over it. How deep it lies is worked out for every picture,
from the hull's outline and the zone's border, and of a fast boat at moments between as well. Whether a
boat that only just reached a zone, or only just missed it, was there is a matter of doubt: `chance` says how likely it
is (normal law). A boat that leaves by less than that doubt has not left.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

from calibration.quantity import Quantity, Source
from logger.config import Zone, ZoneKind
from logger.results import sources
from logger.results.budget import Owner
from logger.results.case import Case
from logger.results.motion import Motion
from logger.results.polygon import Floats, inside_mm
from logger.results.stretch import Ending, begun_ns
from logger.results.trial import NotMeasured, Result, Visit
from logger.results.witnesses import Testimony

COUNTS: dict[str, ZoneKind] = {"ports_count": "port", "rings_count": "ring", "obstacle_touches_count": "obstacle"}
"""Result -> which zones it counts: different ports and rings, but every touch of an obstacle."""
_SURE = 2.0
"""So many standard uncertainties away it was surely not there."""
_LIKELY = 0.5
_DEEP = 3.0
"""A hull that lies in a zone by so many standard uncertainties is there for as long as its ends say."""
_BENT = 1.5
"""Where the doubt by small steps is so much less than by large ones, the boat hardly moved at the border."""
_DOUBTFUL = 0.025
_NEXT_NUMBER = 0.5103
"""A count is a whole number: where it may be the next one, its 95 % interval reaches there."""
_APART_MM = 8.0
_FINEST = 8
"""Into so many parts at most the time between two pictures of a fast boat is divided."""


@dataclass(frozen=True, slots=True, eq=False)
class Stay:
    """A visit, and how its length hangs on what may be off."""

    visit: Visit
    longer_s: Mapping[Source, float]
    """By how much it would be longer for one standard uncertainty of each source."""


def stays(case: Case, heard: Testimony, end: Ending) -> tuple[Stay, ...]:
    """All from go (or else the start line, or else arming) to the end of the run, in order of time."""
    if case.motion is None:
        return ()
    began_ns = begun_ns(case, heard)
    from_s, to_s = case.since_first_s(case.from_ns if began_ns is None else began_ns), case.since_first_s(end.t_ns)
    found = [stay for zone in case.rig.zones for stay in _of(zone, case.motion, case.owner, from_s, to_s)]
    return tuple(sorted(found, key=lambda stay: stay.visit.from_ns))


def answers(case: Case, found: Sequence[Stay]) -> dict[str, Result | NotMeasured]:
    """How many ports, rings and touches of obstacles, and how long in ports; of what the rig has."""
    told: dict[str, Result | NotMeasured] = {}
    kinds = {zone.kind for zone in case.rig.zones}
    for name, kind in COUNTS.items():
        if kind in kinds:
            gap = NotMeasured(case.why_no_motion)
            own = [stay.visit for stay in found if stay.visit.kind == kind]
            told[name] = gap if case.motion is None else Result(_count(own, case.owner), "camera")
    if "port" in kinds and case.motion is not None:
        told["port_dwell_s"] = Result(_dwell([s for s in found if s.visit.kind == "port"]), "camera")
    return told


def told(found: Iterable[Visit]) -> list[str]:
    """A sentence for each of which it is not sure that the boat was there."""
    words = {"port": "reached the port", "ring": "reached the ring", "obstacle": "touched the obstacle"}
    return [
        f"Whether the boat {words[visit.kind]} “{visit.zone}” is not sure: {visit.chance:.0%} by the camera. "
        "Look at the pictures."
        for visit in found
        if not visit.is_sure
    ]


def _count(found: Sequence[Visit], owner: Owner) -> Quantity:
    chances: dict[str, float] = {}
    for visit in found:
        name = f"{visit.zone} at {visit.from_ns}" if visit.kind == "obstacle" else visit.zone
        chances[name] = max(visit.chance, chances.get(name, 0.0))
    count = sum(chance >= _LIKELY for chance in chances.values())
    parts = {
        sources.of_run(f"whether it reached {name}", owner.run_id): _u_of_one(chance)
        for name, chance in chances.items()
        if min(chance, 1 - chance) > 1e-3
    }
    return Quantity(float(count), "1", parts)


def _u_of_one(chance: float) -> float:
    u = sqrt(chance * (1 - chance))
    return max(u, _NEXT_NUMBER) if _DOUBTFUL < chance < 1 - _DOUBTFUL else u


def _dwell(found: Sequence[Stay]) -> Quantity:
    lengths = [Quantity((s.visit.to_ns - s.visit.from_ns) / 1e9, "s", s.longer_s) for s in found]
    return Quantity.linear(sum(length.value for length in lengths), "s", [(1, length) for length in lengths])


def _of(zone: Zone, motion: Motion, owner: Owner, from_s: float, to_s: float) -> list[Stay]:
    own = motion.time_s
    time = np.unique(np.concatenate([[max(from_s, 0.0)], own[(own > from_s) & (own < to_s)], [min(to_s, own[-1])]]))
    if time[-1] < time[0] or len(time) < 2:
        return []
    depth = depth_mm(zone, motion, time)
    u = _u_mm(zone, motion, time)
    near = depth > -_SURE * u
    edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
    # with one moment more at each end, as a fast boat comes from far outside within one picture
    parts = [slice(max(a - 1, 0), b + 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [_stay(zone, motion, owner, *_finer(zone, motion, time[part], depth[part], u[part])) for part in parts]


def _finer(zone: Zone, motion: Motion, time: Floats, depth: Floats, u: Floats) -> tuple[Floats, Floats, Floats]:
    """The same stretch, with moments between pictures if the depth changes there by far more than its doubt."""
    parts = int(min(np.ceil(np.abs(np.diff(depth)).max() / (_SURE * u.mean())), _FINEST))
    if parts <= 1:
        return time, depth, u
    fine = np.interp(np.arange((len(time) - 1) * parts + 1) / parts, np.arange(len(time)), time)
    return fine, depth_mm(zone, motion, fine), np.asarray(np.interp(fine, time, u), np.float64)


def _stay(zone: Zone, motion: Motion, owner: Owner, time: Floats, depth: Floats, u: Floats) -> Stay:
    deepest = int(np.argmax(depth))
    chance = (1 + erf(depth[deepest] / u[deepest] / sqrt(2))) / 2
    first_ns = int(motion.t_ns[0])
    over = np.flatnonzero(depth > 0)
    shallow = abs(float(depth[deepest])) < _DEEP * u[deepest]
    perhaps = {sources.of_run(f"whether it reached {zone.name}", owner.run_id): _perhaps_s(time, depth, u)}
    if not len(over):
        at_ns = first_ns + round(float(time[deepest]) * 1e9)
        return Stay(Visit(zone.name, zone.kind, at_ns, at_ns, 0.0, 0.0, chance), perhaps)
    ends = _crossed(time, depth, int(over[0]) - 1), _crossed(time, depth, int(over[-1]))
    parts: dict[Source, float] = {}
    doubts = []
    for end, name in zip(ends, ("came", "left"), strict=True):
        mine = {} if end.s_per_mm == 0 else _longer_s(zone, motion, owner, end, name)
        doubts.append(sqrt(sum(part**2 for part in mine.values())))
        parts = {source: parts.get(source, 0.0) + mine.get(source, 0.0) for source in {**parts, **mine}}
    came, left = (first_ns + round(end.moment_s * 1e9) for end in ends)
    slow = max(perhaps.values()) > _BENT * sqrt(sum(part**2 for part in parts.values()))
    longer_s = perhaps if shallow or slow else parts
    return Stay(Visit(zone.name, zone.kind, came, left, doubts[0], doubts[1], chance), longer_s)


def _perhaps_s(time: Floats, depth: Floats, u: Floats) -> float:
    """Standard uncertainty of a stay by a side that only grazes the border: half of what twice the doubt does."""
    lasted, most, least = (_over_s(time, depth + deeper * _SURE * u) for deeper in (0.0, 1.0, -1.0))
    return max(most - lasted, lasted - least) / _SURE


def _over_s(time: Floats, depth: Floats) -> float:
    """How long the depth is above 0, straight between moments."""
    first, second, step = depth[:-1], depth[1:], np.diff(time)
    most, least = np.maximum(first, second), np.minimum(first, second)
    share = np.where(least > 0, 1.0, np.where(most <= 0, 0.0, most / np.maximum(most - least, 1e-12)))
    return float((step * share).sum())


@dataclass(frozen=True, slots=True)
class _End:
    """One end of a stay."""

    moment_s: float
    s_per_mm: float
    """By how much the stay is longer if the hull lies deeper in the zone; 0: it is cut off there anyway."""


def _crossed(time: Floats, depth: Floats, before: int) -> _End:
    """When the depth went through 0 between two moments; at the ends of the stretch: there, exactly."""
    if before < 0 or before + 1 >= len(time):
        return _End(float(time[max(before, 0)]), 0.0)
    rise = (depth[before + 1] - depth[before]) / (time[before + 1] - time[before])
    return _End(float(time[before] - depth[before] / rise), 1 / abs(float(rise)))


def _longer_s(zone: Zone, motion: Motion, owner: Owner, end: _End, name: str) -> dict[Source, float]:
    """What one end of a stay hangs on. Each end has its own piece of border; the hull is the same at both."""
    at = np.array([end.moment_s])
    there = depth_mm(zone, motion, at)[0]
    cov = motion.covariances_at(at)[0]
    deeper = {
        sources.of_run(f"when it {name}", owner.run_id): sqrt((cov[0, 0] + cov[3, 3]) / 2),
        # a disc that was taken too small is so all around; an outline is off side by side
        Source(f"border of {zone.name}" + (f" where it {name}" if zone.radius_mm is None else "")): zone.u_mm,
        sources.of_boat("boat outline", owner.boat): motion.u_outline_mm,
    }
    for shift in motion.shifts:
        moved = depth_mm(zone, motion.shifted(shift), at)[0] - there
        deeper[sources.of_track(shift, owner.boat)] = float(moved)
    most_s = float(motion.time_s[-1])  # of a boat that hardly moves
    return {source: float(np.clip(mm * end.s_per_mm, -most_s, most_s)) for source, mm in deeper.items()}


def depth_mm(zone: Zone, motion: Motion, time_s: Floats) -> Floats:
    """(k,) how deep the hull lies in the zone at moments of a motion; negative: how far from it."""
    place, heading = motion.states_at(time_s)[:, [0, 3]], motion.heading_at(time_s)
    cos, sin = np.cos(heading)[:, None], np.sin(heading)[:, None]
    hull = motion.outline_mm if len(motion.outline_mm) >= 3 else None
    if zone.middle_mm is not None and zone.radius_mm is not None:
        off = np.array(zone.middle_mm) - place
        if hull is None:
            return np.asarray(zone.radius_mm - np.hypot(*off.T), np.float64)
        return zone.radius_mm + inside_mm(_turned_back(off[:, None], cos, sin)[:, 0], hull)
    corners = np.array(zone.outline_mm)
    if hull is None:
        return inside_mm(place, corners)
    border = _along(hull)  # a hull may lie across a zone with all corners of both outside the other
    x = place[:, :1] + cos * border[:, 0] - sin * border[:, 1]
    y = place[:, 1:] + sin * border[:, 0] + cos * border[:, 1]
    by_hull = inside_mm(np.stack([x, y], axis=-1).reshape(-1, 2), corners).reshape(x.shape).max(axis=1)
    turned = _turned_back(corners - place[:, None], cos, sin)
    by_zone = inside_mm(turned.reshape(-1, 2), hull).reshape(len(place), -1).max(axis=1)
    return np.asarray(np.maximum(by_hull, by_zone), np.float64)


def _along(corners_mm: Floats) -> Floats:
    """Points along the sides of a shape, its corners among them, no farther apart than `_APART_MM`."""
    ends = np.roll(corners_mm, -1, axis=0)
    counts = np.ceil(np.hypot(*(ends - corners_mm).T) / _APART_MM).astype(int)
    return np.concatenate(
        [
            a + (b - a) * np.arange(n)[:, None] / n
            for a, b, n in zip(corners_mm, ends, np.maximum(counts, 1), strict=True)
        ]
    )


def _turned_back(off_mm: Floats, cos: Floats, sin: Floats) -> Floats:
    """(k, n, 2) offsets in the tank frame -> in the boat's."""
    x, y = off_mm[..., 0], off_mm[..., 1]
    turned: Floats = np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1)
    return turned


def _u_mm(zone: Zone, motion: Motion, time_s: Floats) -> Floats:
    """(k,) standard uncertainty of the depth: of the border, the outline, and the place in a direction by chance."""
    noise = np.trace(motion.covariances_at(time_s)[:, [[0], [3]], [0, 3]], axis1=1, axis2=2)
    own = motion.time_s
    lasting = np.zeros(len(time_s))
    for shift in motion.shifts.values():
        lasting += np.interp(time_s, own, shift[:, 0]) ** 2 + np.interp(time_s, own, shift[:, 3]) ** 2
    total: Floats = np.sqrt(zone.u_mm**2 + motion.u_outline_mm**2 + (noise + lasting) / 2)
    return total
