"""One simulated world, drawn by chance from its tier: tank, light, boat, camera, and how the run goes.

Everything here is the truth. What the instrument is told (the rig file, the boat card) is made from it, with the errors
of ruler, tape and scale, in `told.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from logger.errors import InputError
from logger.simulator import physics
from logger.simulator.chance import stream
from logger.simulator.eye import Eye, looking_down
from logger.simulator.hull import Hull, Shape, outline
from logger.simulator.tiers import TIERS, Tier, TierName
from logger.simulator.voyage import Path, TrueLine, Voyage

Floats = NDArray[np.float64]
STOP_SPEED_MM_PER_S = 10.0
STOP_FOR_S = 1.0
WALL_MARGIN_MM = 5.0
"""The rules of every simulated run, as its card says them."""

PAINTS: dict[str, tuple[int, int, int]] = {
    "red": (40, 35, 185),
    "yellow": (35, 190, 215),
    "green": (60, 140, 45),
    "blue": (165, 80, 30),
    "black": (38, 36, 36),
    "white": (228, 232, 232),
    "foil": (172, 174, 174),
}
"""Colours of boats, blue, green, red of 255."""
FLOORS: dict[str, tuple[int, int, int]] = {
    "grey liner": (168, 170, 168),
    "pale blue liner": (206, 184, 146),
    "white tray": (206, 212, 212),
    "sand tray": (150, 186, 204),
}


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a caller may fix instead of leaving it to chance; None: drawn."""

    shape: Shape | None = None
    paint: str | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    freeboard_mm: float | None = None
    mass_g: float | None = None
    flare: float | None = None
    tank_length_mm: float | None = None
    tank_width_mm: float | None = None
    water_depth_mm: float | None = None
    floor: str | None = None
    floor_pattern: str | None = None
    """plain, tiles or grid."""
    camera_height_mm: float | None = None
    tilt_deg: float | None = None
    k1: float | None = None
    speed_mm_per_s: float | None = None
    """The speed the thrust would reach in the end."""
    wall_contact: bool | None = None
    exposure_ns: int | None = None
    line_ns: int | None = None
    noise_dn: float | None = None
    jpeg_quality: int | None = None
    shade: float | None = None
    """How dark the boat's shadow is, 0 to 1."""
    plain_deck: bool = False
    """True: one even colour on deck."""
    rig_errors: bool = True
    """False: the rig file and the boat card say the exact truth."""
    camera_errors: bool = False
    """True: the camera file is off within the uncertainties it states."""
    frame_rate_hz: float = 30.0
    gates: bool = True


def wishes(asked: dict[str, Any]) -> Wishes:
    """The wishes of the keyword arguments `asked`. InputError names one that is not known."""
    known = {field.name for field in fields(Wishes)}
    for name in asked:
        if name not in known:
            raise InputError(f"simulate: found the option {name}; wanted one of {', '.join(sorted(known))}")
    return Wishes(**asked)


@dataclass(frozen=True, slots=True, eq=False)
class Basin:
    """The tank and its water. The waterline outline is a rectangle; x = 0 is the start line."""

    back_mm: float
    """x of the wall behind the start."""
    front_mm: float
    """x of the end wall."""
    half_width_mm: float
    depth_mm: float
    rim_mm: float
    """Height of the rim above the water."""
    floor_bgr: tuple[int, int, int]
    pattern: str

    @property
    def outline_mm(self) -> tuple[tuple[float, float], ...]:
        """Corners at the waterline, anticlockwise."""
        b, f, w = self.back_mm, self.front_mm, self.half_width_mm
        return ((b, -w), (f, -w), (f, w), (b, w))


@dataclass(frozen=True, slots=True, eq=False)
class Shutter:
    """When the camera looks."""

    begins_ns: NDArray[np.int64]
    """(N,) true start of exposure of the first row of every frame that arrives."""
    exposure_ns: int
    line_ns: int
    delay_ns: int
    """How much later than the truth its stamps are."""


@dataclass(frozen=True, slots=True)
class Light:
    """Where the lamp stands and how even it is."""

    from_rad: float
    """Direction from which the light comes, seen from above."""
    slant: float
    """Tangent of its angle from the vertical, in air."""
    gradient: tuple[float, float]
    """Relative change of the light per half picture, along the columns and rows."""
    vignette: float
    """Loss of light in the picture's corner."""
    shade: float
    """Darkness of a boat's shadow."""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One world and one run in it."""

    tier: Tier
    tier_name: TierName
    kind: str
    seed: int
    wishes: Wishes
    basin: Basin
    lines: tuple[TrueLine, ...]
    beams: tuple[TrueLine, ...]
    """Where the light beams truly are, each named after its gate; `role` is the line it times."""
    hull: Hull
    paint: str
    mass_g: float
    eye: Eye
    light: Light
    shutter: Shutter
    voyage: Voyage
    epoch_ns: int
    """The clock's reading when the recording begins."""
    armed_s: float
    ended_s: float
    """When the run is over by its rule: finish crossed, slow for long enough, or time out."""
    length_s: float
    """How long the recording is."""

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
    hull, paint, mass_g = _boat(stream(seed, "boat"), level, asked)
    size = float(np.ptp(hull.outline_mm[:, 0]))
    basin = _basin(stream(seed, "basin"), size, float(np.ptp(hull.outline_mm[:, 1])), asked)
    lines = _lines(stream(seed, "lines"), basin, kind)
    beams = _beams(stream(seed, "beams"), lines) if asked.gates else ()
    voyage, armed_s = _voyage(stream(seed, "voyage"), level, basin, hull, mass_g, lines, kind, asked)
    ended_s, length_s = _end(voyage, lines, kind)
    return Scene(
        tier=level, tier_name=tier, kind=kind, seed=seed, wishes=asked, basin=basin, lines=lines, beams=beams,
        hull=hull, paint=paint, mass_g=mass_g, eye=_eye(stream(seed, "eye"), level, basin, asked),
        light=_light(stream(seed, "light"), asked), shutter=_shutter(stream(seed, "shutter"), level, length_s, asked),
        voyage=voyage, epoch_ns=int(stream(seed, "clock").integers(10**12, 10**14)), armed_s=armed_s,
        ended_s=ended_s, length_s=length_s,
    )  # fmt: skip


def _or(wish: float | None, drawn: float) -> float:
    """The wish, or what was drawn. The draw always happens, so that a wish does not move the other draws."""
    return drawn if wish is None else wish


def _boat(rng: np.random.Generator, tier: Tier, asked: Wishes) -> tuple[Hull, str, float]:
    drawn_shape = str(rng.choice(["pointed", "pointed", "pointed", "tray", "round"]))
    shape: Shape = asked.shape or drawn_shape  # type: ignore[assignment]
    length = _or(asked.length_mm, rng.uniform(90, 330))
    ratio = {"pointed": (2.0, 3.6), "tray": (1.3, 2.4), "round": (1.0, 1.15)}[shape]
    width = _or(asked.width_mm, float(np.clip(length / rng.uniform(*ratio), 60, 200)))
    length = max(length, width) if shape != "round" or asked.length_mm else width * rng.uniform(1.0, 1.1)
    shape_of = outline(
        shape, length_mm=length, width_mm=width, stern=rng.uniform(0.7, 0.95), fullness=rng.uniform(1.6, 2.4)
    )
    freeboard = _or(asked.freeboard_mm, float(np.clip(rng.uniform(8, 40), 0, 0.35 * width)))
    draught = rng.uniform(4, 15)
    flare = _or(asked.flare, rng.uniform(0, tier.flare))
    drawn_paint = str(rng.choice(list(PAINTS)))
    displaced = 0.75 * length * width * draught / 1000 * rng.uniform(0.8, 1.1)
    mass = _or(asked.mass_g, float(np.clip(displaced, 8, 480)))
    return Hull(shape_of, 1.0 + flare, freeboard, draught), asked.paint or drawn_paint, mass


def _basin(rng: np.random.Generator, boat_mm: float, boat_width_mm: float, asked: Wishes) -> Basin:
    least = max(800.0, 5.5 * boat_mm)
    length = _or(asked.tank_length_mm, rng.uniform(least, max(least, 3000.0)))
    width = _or(asked.tank_width_mm, float(np.clip(length * rng.uniform(0.3, 0.52), 2.6 * boat_width_mm, 1100)))
    back = -(boat_mm + rng.uniform(50, 110))
    floors = list(FLOORS)
    floor = asked.floor or floors[rng.integers(len(floors))]
    pattern = asked.floor_pattern or str(rng.choice(["plain", "plain", "tiles", "grid"]))
    return Basin(
        back_mm=back, front_mm=back + length, half_width_mm=width / 2,
        depth_mm=_or(asked.water_depth_mm, rng.uniform(50, 150)), rim_mm=rng.uniform(25, 60),
        floor_bgr=FLOORS[floor], pattern=pattern,
    )  # fmt: skip


def _lines(rng: np.random.Generator, basin: Basin, kind: str) -> tuple[TrueLine, ...]:
    room = basin.front_mm
    mark, finish = room * rng.uniform(0.25, 0.36), room - rng.uniform(0.12, 0.2) * room
    skew = rng.uniform(-0.006, 0.006, 2)
    start = TrueLine("start", "start", 0.0)
    if kind == "drift":
        return (start, TrueLine("mark", "mark", mark, float(skew[0])))
    return (start, TrueLine("finish", "finish", finish, float(skew[1])))


def _beams(rng: np.random.Generator, lines: tuple[TrueLine, ...]) -> tuple[TrueLine, ...]:
    return tuple(
        TrueLine(f"{line.name}-gate", line.name, line.place_mm + float(rng.uniform(-4, 4)), line.normal_rad)
        for line in lines
    )


def _voyage(
    rng: np.random.Generator,
    tier: Tier,
    basin: Basin,
    hull: Hull,
    mass_g: float,
    lines: tuple[TrueLine, ...],
    kind: str,
    asked: Wishes,
) -> tuple[Voyage, float]:
    length, width = (float(np.ptp(hull.outline_mm[:, axis])) for axis in (0, 1))
    start = (-float(hull.support_mm(np.zeros(1))[0]) - rng.uniform(12, 40), 0.0)
    path = _path(rng, basin, hull, start)
    virtual = mass_g * (1 + physics.added_mass_fraction(length_mm=max(length, width), width_mm=min(length, width)))
    fade_mm, fade_s = rng.uniform(2.0, 4.0) * length, rng.uniform(2.5, 5.0)
    drag = physics.Drag(virtual, virtual / fade_s, virtual / fade_mm)
    wall_mm = _way_to(path, hull, TrueLine("wall", "wall", basin.front_mm))
    line = lines[1]
    cut_mm = _way_to(path, hull, line) if kind == "drift" else None
    speed = rng.uniform(120, 420)
    may_touch = asked.wall_contact if asked.wall_contact is not None else bool(rng.random() < tier.wall_contact)
    if cut_mm is not None and not may_touch:
        speed = min(speed, _speed_for(drag, 0.93 * (wall_mm - cut_mm)))
    speed = _or(asked.speed_mm_per_s, speed)
    thrust = physics.Thrust(
        float(drag.force(speed)), rng.uniform(0.1, 0.4),
        tuple((rng.uniform(0, 0.06), rng.uniform(2, 9), rng.uniform(0, 2 * np.pi)) for _ in range(3)),
    )  # fmt: skip
    motion = physics.run(
        drag, thrust, cut_at_mm=cut_mm, wall_at_mm=wall_mm, restitution=rng.uniform(0, 0.3), until_s=120.0
    )
    armed_s = rng.uniform(0.4, 0.8)
    return Voyage(path, motion, hull, armed_s + rng.uniform(0.6, 1.2)), float(armed_s)


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


def _end(voyage: Voyage, lines: tuple[TrueLine, ...], kind: str) -> tuple[float, float]:
    """When the run ends by its rule and how long the recording goes on."""
    limit = voyage.go_s + 60.0
    if kind == "straight":
        finished = voyage.crossing_s(lines[1], until_s=limit)
        over = limit if finished is None else finished
        return over, over + 1.6
    slow = voyage.slower_s(STOP_SPEED_MM_PER_S, until_s=limit)
    over = limit if slow is None else slow + STOP_FOR_S
    return over, over + 1.6


def _eye(rng: np.random.Generator, tier: Tier, basin: Basin, asked: Wishes) -> Eye:
    width_px, height_px = 1280, 720
    length = basin.front_mm - basin.back_mm
    height = _or(asked.camera_height_mm, float(np.clip(length * rng.uniform(0.6, 0.95), 900, 2000)))
    most = np.radians(_or(asked.tilt_deg, tier.tilt_deg))
    tilt_x, tilt_y = rng.uniform(-most, most, 2)
    turn = float(rng.choice([0.0, np.pi])) + rng.uniform(-0.04, 0.04)
    rotation = looking_down(tilt_x_rad=tilt_x, tilt_y_rad=tilt_y, turn_rad=turn)
    # whoever mounts a camera aims it at the middle of the tank, tilted or not
    aim = (basin.back_mm + length * rng.uniform(0.46, 0.54), basin.half_width_mm * rng.uniform(-0.12, 0.12))
    axis = rotation[2]
    place = np.array([aim[0] + height * axis[0] / axis[2], aim[1] + height * axis[1] / axis[2], height])
    k1 = _or(asked.k1, rng.uniform(-0.2, -0.01))
    eye = Eye(
        width_px, height_px, 900.0,
        (width_px - 1) / 2 + rng.uniform(-12, 12), (height_px - 1) / 2 + rng.uniform(-12, 12),
        (k1, -0.15 * k1 * rng.uniform(0, 1), 0.0), tuple(rng.uniform(-0.0006, 0.0006, 2)), rotation, place,
    )  # fmt: skip
    return _fitted(eye, basin)


def _fitted(eye: Eye, basin: Basin) -> Eye:
    """The same camera with the longest focal length that still shows the whole rim."""
    rim = np.array([(x, y, basin.rim_mm) for x, y in basin.outline_mm])
    dense = np.concatenate([np.linspace(a, b, 20) for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)])
    low, high = 100.0, 4000.0
    for _ in range(30):
        middle = (low + high) / 2
        seen = replace(eye, f_px=middle).see(dense)
        fits = (seen > 10).all() and (seen < (eye.width_px - 11, eye.height_px - 11)).all()
        low, high = (middle, high) if fits else (low, middle)
    return replace(eye, f_px=low)


def _light(rng: np.random.Generator, asked: Wishes) -> Light:
    return Light(
        from_rad=rng.uniform(0, 2 * np.pi), slant=rng.uniform(0.15, 0.6),
        gradient=tuple(rng.uniform(-0.1, 0.1, 2)), vignette=rng.uniform(0.05, 0.25),
        shade=_or(asked.shade, rng.uniform(0.12, 0.35)),
    )  # fmt: skip


def _shutter(rng: np.random.Generator, tier: Tier, length_s: float, asked: Wishes) -> Shutter:
    count = int(length_s * asked.frame_rate_hz)
    nominal = np.arange(count) * (1e9 / asked.frame_rate_hz)
    begins = np.round(nominal + rng.normal(0, tier.frame_jitter_ns, count)).astype(np.int64)
    exposure = asked.exposure_ns if asked.exposure_ns is not None else int(rng.uniform(2e6, 8e6))
    line = asked.line_ns if asked.line_ns is not None else int(rng.uniform(*tier.line_ns))
    delay = int(rng.uniform(0, 4e6))
    return Shutter(begins, exposure, line, delay)
