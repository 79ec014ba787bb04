"""Which ports, obstacles and rings the boat came to, when, and how sure that is.

The boat is at a zone while any part of its waterline lies over it. How deep it lies is worked out for every picture,
from the hull's outline and the zone's border, and runs straight from one picture to the next. Whether a boat that only
just reached a zone, or only just missed it, was there is a matter of doubt: `chance` says how likely it is (normal
law). A boat that leaves by less than that doubt has not left.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import erf, sqrt

import numpy as np

from calibration.quantity import Quantity
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
_APART_MM = 8.0


def visits(case: Case, heard: Testimony, end: Ending) -> tuple[Visit, ...]:
    """All from go (or else the start line, or else arming) to the end of the run, in order of time."""
    if case.motion is None:
        return ()
    began_ns = begun_ns(case, heard)
    from_s, to_s = case.since_first_s(case.from_ns if began_ns is None else began_ns), case.since_first_s(end.t_ns)
    found = [visit for zone in case.rig.zones for visit in _of(zone, case.motion, from_s, to_s)]
    return tuple(sorted(found, key=lambda visit: visit.from_ns))


def answers(case: Case, found: Sequence[Visit]) -> dict[str, Result | NotMeasured]:
    """How many ports, rings and touches of obstacles, and how long in ports; of what the rig has."""
    told: dict[str, Result | NotMeasured] = {}
    kinds = {zone.kind for zone in case.rig.zones}
    for name, kind in COUNTS.items():
        if kind in kinds:
            gap = NotMeasured(case.why_no_motion)
            own = [visit for visit in found if visit.kind == kind]
            told[name] = gap if case.motion is None else Result(_count(own, case.owner), "camera")
    if "port" in kinds and case.motion is not None:
        told["port_dwell_s"] = Result(_dwell([v for v in found if v.kind == "port"], case.owner), "camera")
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
        sources.of_run(f"whether it reached {name}", owner.run_id): sqrt(chance * (1 - chance))
        for name, chance in chances.items()
        if min(chance, 1 - chance) > 1e-3
    }
    return Quantity(float(count), "1", parts)


def _dwell(found: Sequence[Visit], owner: Owner) -> Quantity:
    likely = [visit for visit in found if visit.chance >= _LIKELY]
    whole = sum((visit.to_ns - visit.from_ns) / 1e9 for visit in likely)
    u = float(np.sqrt(sum(visit.u_from_s**2 + visit.u_to_s**2 for visit in likely)))
    return Quantity(whole, "s", {sources.of_run("when it came and left", owner.run_id): u})


def _of(zone: Zone, motion: Motion, from_s: float, to_s: float) -> list[Visit]:
    own = motion.time_s
    time = np.unique(np.concatenate([[max(from_s, 0.0)], own[(own > from_s) & (own < to_s)], [min(to_s, own[-1])]]))
    if time[-1] < time[0] or len(time) < 2:
        return []
    depth = depth_mm(zone, motion, time)
    u = _u_mm(zone, motion, time)
    near = depth > -_SURE * u
    edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
    return [_visit(zone, motion, time[a:b], depth[a:b], u[a:b]) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _visit(zone: Zone, motion: Motion, time: Floats, depth: Floats, u: Floats) -> Visit:
    deepest = int(np.argmax(depth))
    chance = (1 + erf(depth[deepest] / u[deepest] / sqrt(2))) / 2
    over = np.flatnonzero(depth > 0)
    if not len(over):
        at_ns = int(motion.t_ns[0]) + round(float(time[deepest]) * 1e9)
        return Visit(zone.name, zone.kind, at_ns, at_ns, 0.0, 0.0, chance)
    came, u_came = _crossed(time, depth, u, int(over[0]) - 1)
    left, u_left = _crossed(time, depth, u, int(over[-1]))
    first_ns = int(motion.t_ns[0])
    return Visit(
        zone.name, zone.kind, first_ns + round(came * 1e9), first_ns + round(left * 1e9), u_came, u_left, chance
    )


def _crossed(time: Floats, depth: Floats, u: Floats, before: int) -> tuple[float, float]:
    """When the depth went through 0 between two moments, and how well that is known; at the ends: there, exactly."""
    if before < 0 or before + 1 >= len(time):
        return float(time[max(before, 0)]), 0.0
    rise = (depth[before + 1] - depth[before]) / (time[before + 1] - time[before])
    return float(time[before] - depth[before] / rise), float(min(u[before] / abs(rise), time[-1] - time[0]))


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
