"""Which of the things seen is the boat: several are followed, each as it should move, and the best one is believed.

A track is a steady motion with doubt (a Kalman filter); what lies outside the doubt does not belong to it. A track
earns credit by being of the boat's size, free of hands and of a steady colour. The boat waits behind the start line, or
moves: a thing that lies elsewhere from the beginning is none.
"""

from __future__ import annotations

import math

from logger.vision.live.things import Thing

_LIVELY_MM_PER_S2, _CALM_MM_PER_S2 = 1500.0, 250.0
"""Accelerations that a motion may have: what may belong to a track is asked with the first; its place is found with the
second for as long as it moves as that foretells."""
_CALM_BELOW = 2.5
"""Mean square of how far off it was lately, in units of doubt; 2 is to be expected."""
_U_PLACE_MM = 4.0
_U_SPEED_MM_PER_S = 400.0
_GATE = 16.0
"""Squared distance in units of doubt beyond which a thing does not belong to a track (0.03 % of a normal spread)."""
_ALWAYS_MM = 12.0
_MOST_MM = 150.0
"""From one picture to the next nothing is ever farther off than that, and what is nearer than _ALWAYS_MM belongs."""
_EARNED = 0.12
"""Share of a track's credit that one picture earns or loses."""
_COLOUR_LEVELS = 30.0
_FORGOTTEN_NS = 700_000_000
_BOAT_FORGOTTEN_NS = 2_000_000_000
_MOST_TRACKS = 8
_STICKS = 0.25
"""So much more than the boat another track must be worth to be the boat instead."""
_MOVED_MM, _MOVED_LENGTHS, _MOVED_COUNT = 18.0, 0.7, 5
"""So far from its first place (what began elsewhere than where boats wait: so many lengths), in so many pictures in a
row, and a thing has moved."""
_MOVED_FIT = 0.35
_SOME_CREDIT = 0.25
"""From this credit on a thing that has moved is worth the full reward for it."""
_RIVAL_SHARE = 0.65
_MELTS_MM_PER_S = 25.0
"""What moves faster is kept out of the empty tank, the boat or not."""
_TURNS_BACK_SHARE = 0.6
"""So much of its length backwards, more than forwards before, and its bow was held to be where its stern is."""
_FORWARD_LENGTHS = 3.0
_LONG, _WHOLE_FIT, _BOW_EARNED = 1.15, 0.6, 0.02
"""A thing so elongated has an axis; one that fits the card so well tells how far its bow lies from its middle, of which
one picture says so much."""
_SAME_SHARE = 0.4
"""Tracks nearer to each other than this share of the boat's length follow one thing."""


class Track:
    """One thing, followed: a steady motion whose doubt is the same along x and y."""

    def __init__(self, thing: Thing, t_ns: int, *, began_in_zone: bool, heading_rad: float) -> None:
        self.thing, self.t_ns = thing, t_ns
        """What was last seen of it, and when."""
        self.began_in_zone, self.heading_rad = began_in_zone, heading_rad
        self.x_mm, self.y_mm = self.origin_mm = thing.place_mm
        self.vx_mm_per_s = self.vy_mm_per_s = 0.0
        self.doubt = (_U_PLACE_MM**2, 0.0, _U_SPEED_MM_PER_S**2)
        """Variance of a coordinate, its covariance with its speed, variance of that speed: mm and s."""
        self.surprise = 2.0
        """How far off it was lately, squared, in units of doubt."""
        self.colour = thing.colour
        self.credit = _EARNED * _worth(self, thing)
        self.streak_count = 1
        """Pictures in a row in which it was seen, the last one included."""
        self.has_moved, self.moved_count = False, 0
        self.forward_mm = 0.0
        """How far it has gone bow first, as the bow is now held to be."""
        self.bow_share, self.whole_count = 0.5, 0
        """How far the bow lies ahead of the centroid, as a share of the length, as it was seen so many times."""

    @property
    def speed_mm_per_s(self) -> float:
        """How fast it goes."""
        return math.hypot(self.vx_mm_per_s, self.vy_mm_per_s)

    def place_mm(self, t_ns: int) -> tuple[float, float]:
        """Where it is at a time."""
        dt = min((t_ns - self.t_ns) / 1e9, 1.0)
        return self.x_mm + dt * self.vx_mm_per_s, self.y_mm + dt * self.vy_mm_per_s

    def doubt_at(self, t_ns: int, acceleration_mm_per_s2: float = _LIVELY_MM_PER_S2) -> tuple[float, float, float]:
        """The doubt then, before anything is seen."""
        dt = min((t_ns - self.t_ns) / 1e9, 1.0)
        q, (p, c, v) = acceleration_mm_per_s2**2, self.doubt
        return p + 2 * dt * c + dt * dt * v + q * dt**4 / 4, c + dt * v + q * dt**3 / 2, v + q * dt * dt


class Tracks:
    """All that is followed, and which of it is the boat."""

    def __init__(self, length_mm: float, forward_rad: float) -> None:
        """Nothing is followed yet.

        Args:
            length_mm: the boat's.
            forward_rad: where its bow probably points.
        """
        self._apart_mm = _SAME_SHARE * length_mm
        self._length_mm, self._forward_rad = length_mm, forward_rad
        self.followed: list[Track] = []
        self.boat: Track | None = None

    def feed(self, found: list[Thing], in_zone: list[bool], t_ns: int) -> None:
        """Take note of the things of one picture, and choose the boat among the tracks."""
        free = set(range(len(found)))
        order = sorted(self.followed, key=lambda one: (one is not self.boat, -one.credit))
        for track in order:
            best = self._belonging(track, found, free, t_ns)
            if best is None:
                track.streak_count = 0
                track.credit *= 1 - _EARNED / 2
                continue
            free.discard(best)
            self._update(track, found[best], t_ns)
        for k in sorted(free):
            self._begin(found[k], in_zone[k], t_ns)
        self._forget(t_ns)
        self._choose()

    def kept_free(self, t_ns: int) -> list[tuple[float, float, float]]:
        """Place and heading of what must not melt into the empty tank: the boat, and all that moves."""
        return [
            (*track.place_mm(t_ns), track.heading_rad)
            for track in self.followed
            if track is self.boat or (track.has_moved and track.speed_mm_per_s > _MELTS_MM_PER_S)
        ]

    @property
    def has_rival(self) -> bool:
        """Whether something else, elsewhere, may be the boat nearly as well."""
        if self.boat is None:
            return False
        place, least = (self.boat.x_mm, self.boat.y_mm), _RIVAL_SHARE * _value(self.boat)
        good = [one for one in self.followed if _value(one) > least]
        return any(math.dist((one.x_mm, one.y_mm), place) > self._apart_mm for one in good)

    def _belonging(self, track: Track, found: list[Thing], free: set[int], t_ns: int) -> int | None:
        x, y = track.place_mm(t_ns)
        variance = track.doubt_at(t_ns)[0] + _U_PLACE_MM**2
        best, least = None, math.inf
        for k in free:
            off = math.dist(found[k].place_mm, (x, y))
            away = off * off / variance
            if (away > _GATE and off > _ALWAYS_MM) or off > _MOST_MM:
                continue
            cost = away + 2 * _unlike(found[k], track) ** 2 + 4 * (1 - found[k].size_fit) - 4 * found[k].strength
            if cost < least:
                best, least = k, cost
        return best

    def _begin(self, thing: Thing, in_zone: bool, t_ns: int) -> None:
        heading_rad = self._forward_rad + _half_turn(thing.axis_rad - self._forward_rad)
        self.followed.append(Track(thing, t_ns, began_in_zone=in_zone, heading_rad=heading_rad))

    def _forget(self, t_ns: int) -> None:
        kept = []
        for track in self.followed:
            patience = _BOAT_FORGOTTEN_NS if track is self.boat and track.has_moved else _FORGOTTEN_NS
            if t_ns - track.t_ns <= patience:
                kept.append(track)
        kept.sort(key=lambda one: -_value(one))
        self.followed = []
        for track in kept[:_MOST_TRACKS]:
            place = track.place_mm(t_ns)
            is_another = all(math.dist(one.place_mm(t_ns), place) > self._apart_mm for one in self.followed)
            if is_another or track is self.boat:
                self.followed.append(track)
        if self.boat is not None and self.boat not in self.followed:
            self.boat = None

    def _choose(self) -> None:
        if not self.followed:
            return
        best = max(self.followed, key=_value)
        if self.boat is None or _value(best) > _value(self.boat) + _STICKS:
            self.boat = best if best.began_in_zone or best.has_moved else None

    def _update(self, track: Track, thing: Thing, t_ns: int) -> None:
        x, y = track.place_mm(t_ns)
        u2 = (_U_PLACE_MM * (1 + 2 * (1 - thing.size_fit))) ** 2
        dx, dy = thing.place_mm[0] - x, thing.place_mm[1] - y
        calm = track.doubt_at(t_ns, _CALM_MM_PER_S2)
        track.surprise += 0.35 * (min((dx * dx + dy * dy) / (calm[0] + u2), 25.0) - track.surprise)
        p, c, v = calm if track.surprise < _CALM_BELOW else track.doubt_at(t_ns)
        of_place, of_speed = p / (p + u2), c / (p + u2)
        before = track.x_mm, track.y_mm
        track.x_mm, track.y_mm = x + of_place * dx, y + of_place * dy
        track.vx_mm_per_s += of_speed * dx
        track.vy_mm_per_s += of_speed * dy
        track.doubt = p * (1 - of_place), c * (1 - of_place), v - of_speed * c
        track.t_ns, track.thing = t_ns, thing
        track.streak_count += 1
        track.credit += _EARNED * (_worth(track, thing) - track.credit)
        b, g, r = (0.95 * old + 0.05 * new for old, new in zip(track.colour, thing.colour, strict=True))
        track.colour = b, g, r
        away = math.dist((track.x_mm, track.y_mm), track.origin_mm)
        least_mm = _MOVED_MM if track.began_in_zone else _MOVED_LENGTHS * self._length_mm
        is_moving = away > least_mm and track.speed_mm_per_s > 15 and not thing.is_held and thing.size_fit > _MOVED_FIT
        track.moved_count = track.moved_count + 1 if is_moving else 0
        track.has_moved = track.has_moved or track.moved_count >= _MOVED_COUNT
        self._turn(track, thing, track.x_mm - before[0], track.y_mm - before[1])

    def _turn(self, track: Track, thing: Thing, dx_mm: float, dy_mm: float) -> None:
        """The heading is the long axis; the bow is where it goes, but a boat thrown back by a wall keeps its bow."""
        if thing.elongation > _LONG:
            track.heading_rad += _half_turn(thing.axis_rad - track.heading_rad)
        elif track.speed_mm_per_s > 60:
            track.heading_rad = math.atan2(track.vy_mm_per_s, track.vx_mm_per_s)
        if thing.elongation > _LONG and thing.size_fit > _WHOLE_FIT and not thing.is_held:
            track.whole_count += 1
            share = thing.fore_share if math.cos(thing.axis_rad - track.heading_rad) > 0 else 1 - thing.fore_share
            track.bow_share += max(1 / track.whole_count, _BOW_EARNED) * (share - track.bow_share)
        along = dx_mm * math.cos(track.heading_rad) + dy_mm * math.sin(track.heading_rad)
        track.forward_mm = min(track.forward_mm + along, _FORWARD_LENGTHS * self._length_mm)
        if track.forward_mm < -_TURNS_BACK_SHARE * self._length_mm:
            track.heading_rad += math.pi
            track.forward_mm = -track.forward_mm
            track.bow_share = 1 - track.bow_share


def _half_turn(angle_rad: float) -> float:
    """The same axis, as an angle within ±π/2."""
    return (angle_rad + math.pi / 2) % math.pi - math.pi / 2


def _value(track: Track) -> float:
    worth = track.credit
    if track.has_moved:
        worth += 0.4 * min(1.0, track.credit / _SOME_CREDIT)
    elif not track.began_in_zone:
        worth -= 0.6
    return worth


def _unlike(thing: Thing, track: Track) -> float:
    """How different the colours are, in units of what the light may change."""
    return sum(abs(a - b) for a, b in zip(thing.colour, track.colour, strict=True)) / 3 / _COLOUR_LEVELS


def _worth(track: Track, thing: Thing) -> float:
    """What one sight of a thing is worth to a track, 0 to 1."""
    worth = min(1.5 * thing.strength, 1.0) * (0.35 + 0.65 * thing.size_fit)
    return worth * math.exp(-0.5 * _unlike(thing, track) ** 2) * (0.3 if thing.is_held else 1.0)
