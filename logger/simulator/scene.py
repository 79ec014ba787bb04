"""One simulated world, drawn by chance from its tier: tank, light, boat, camera, and how the run goes.

Everything here is the truth. What the instrument is told (the rig file, the boat card) is made from it, with the errors
of ruler, tape and scale, in `told.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from logger.errors import InputError
from logger.simulator.basin import Basin, draw_basin, draw_beams, draw_lines
from logger.simulator.boats import draw_boat
from logger.simulator.chance import stream
from logger.simulator.course import draw_voyage, end
from logger.simulator.entry import Entry
from logger.simulator.eye import Eye
from logger.simulator.gusts import Gusts, draw_gusts
from logger.simulator.hull import Hull
from logger.simulator.light import Light, LightChange, draw_change, draw_light, draw_sun
from logger.simulator.mount import Bump, Shutter, draw_bump, draw_eye, draw_shutter
from logger.simulator.ripples import Waves, draw_waves
from logger.simulator.room import Blinds, Passer, draw_room
from logger.simulator.sail import Rocking, Sail, draw_rocking, draw_sail
from logger.simulator.scraps import draw_scraps
from logger.simulator.tag import Tag, draw_tag
from logger.simulator.tiers import TIERS, Tier, TierName
from logger.simulator.touch import draw_touch
from logger.simulator.visitors import Hand, Visitor, draw_visitors
from logger.simulator.voyage import TrueLine, Voyage
from logger.simulator.wishes import Wishes


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One world and one run in it."""

    tier: Tier
    tier_name: TierName
    kind: str
    seed: int
    """What everything was drawn from."""
    wishes: Wishes
    basin: Basin
    lines: tuple[TrueLine, ...]
    beams: tuple[TrueLine, ...]
    """Where the light beams truly are, each named after its gate; `role` is the line it times."""
    hull: Hull
    sail: Sail | None
    tag: Tag | None
    rocking: Rocking
    visitors: tuple[Visitor, ...]
    entry: Entry | None
    """How the boat comes into the water late; None: it lies there from the first."""
    bump: Bump | None
    paint: str
    mass_g: float
    eye: Eye
    light: Light
    light_change: LightChange
    waves: Waves
    gusts: Gusts
    room: tuple[Passer | Blinds, ...]
    """What moves in the room and shades the tank."""
    shutter: Shutter
    voyage: Voyage
    epoch_ns: int
    """The clock's reading when the recording begins."""
    armed_s: float
    ended_s: float
    """When the run is over by its rule: finish crossed, slow for long enough, or time out."""
    length_s: float
    """How long the recording is."""

    @property
    def tank_seed(self) -> int:
        """The seed of everything that stays where it is from run to run."""
        return self.seed if self.wishes.tank_seed is None else self.wishes.tank_seed

    def t_ns(self, t_s: float) -> int:
        """The clock's reading at `t_s` of the recording."""
        return self.epoch_ns + round(t_s * 1e9)

    def line(self, role: str) -> TrueLine | None:
        """The line with that role."""
        return next((line for line in self.lines if line.role == role), None)


def draw(*, tier: TierName, kind: str, seed: int, asked: Wishes) -> Scene:
    """The world of `seed`: the same in every call and on every machine."""
    if kind not in ("drift", "straight"):
        raise InputError(f"simulate: found kind {kind!r}; wanted drift or straight")
    if tier not in TIERS:
        raise InputError(f"simulate: found tier {tier!r}; wanted one of {', '.join(TIERS)}")
    level = TIERS[tier]
    hull, paint, mass_g = draw_boat(stream(seed, "boat"), level, asked)
    size = float(np.ptp(hull.outline_mm[:, 0]))
    tank = seed if asked.tank_seed is None else asked.tank_seed
    basin = draw_basin(stream(tank, "basin"), size, float(np.ptp(hull.outline_mm[:, 1])), asked)
    lines = draw_lines(stream(tank, "lines"), basin, kind)
    beams = draw_beams(stream(tank, "beams"), lines) if asked.gates else ()
    voyage, armed_s = draw_voyage(
        stream(seed, "voyage"), level, basin=basin, hull=hull, mass_g=mass_g, lines=lines, kind=kind, asked=asked,
        touch_rng=stream(seed, "push"),
    )  # fmt: skip
    ended_s, length_s = end(voyage, lines, kind, rest_s=asked.rest_s)
    driven_until_s = voyage.crossing_s(lines[1], until_s=length_s) or ended_s
    sail = draw_sail(stream(seed, "sail"), level, hull)
    middle = ((basin.back_mm + basin.front_mm) / 2, 0.0)
    visitors = draw_visitors(
        stream(seed, "visitors"), level, basin=basin, hull=hull, voyage=voyage, driven_until_s=driven_until_s,
        enters_s=asked.enters_s,
    )  # fmt: skip
    scraps = draw_scraps(stream(seed, "scraps"), level, basin=basin, hull=hull, voyage=voyage)
    touch = draw_touch(stream(seed, "touch"), hull, voyage)
    return Scene(
        tier=level, tier_name=tier, kind=kind, seed=seed, wishes=asked, basin=basin, lines=lines, beams=beams,
        hull=hull, paint=paint, mass_g=mass_g, eye=draw_eye(stream(tank, "eye"), level, basin, asked),
        light=draw_sun(stream(tank, "sun"), level, draw_light(stream(tank, "light"), asked), asked),
        gusts=draw_gusts(stream(seed, "gusts"), level, basin),
        room=draw_room(stream(seed, "room"), level, basin, length_s=length_s),
        shutter=draw_shutter(stream(seed, "shutter"), level, length_s, asked),
        light_change=draw_change(stream(seed, "light change"), level, from_s=voyage.go_s, to_s=ended_s),
        waves=draw_waves(stream(seed, "waves"), level, depth_mm=basin.depth_mm, middle_mm=middle),
        sail=sail, tag=draw_tag(stream(seed, "tag"), hull, sail, asked, shines=level.tag_shine),
        rocking=draw_rocking(stream(seed, "rocking"), level),
        visitors=scraps + visitors + (() if touch is None else (touch,)),
        entry=next((visitor.entry for visitor in visitors if isinstance(visitor, Hand)), None),
        bump=draw_bump(stream(seed, "bump"), level, from_s=voyage.go_s, to_s=ended_s),
        voyage=voyage, epoch_ns=int(stream(seed, "clock").integers(10**12, 10**14)), armed_s=armed_s,
        ended_s=ended_s, length_s=length_s,
    )  # fmt: skip
