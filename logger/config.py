"""The rig and the run as frozen values: what rig.toml and recording.toml say, after all checks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

KindOfRun: TypeAlias = Literal["straight", "drift", "course", "cargo", "rings", "distance", "balance", "load"]
LineRole: TypeAlias = Literal["start", "mark", "finish"]
Power: TypeAlias = Literal["breath", "fan", "wind", "balloon", "hand", "motor", "unknown"]


@dataclass(frozen=True, slots=True)
class Tank:
    """The water: where it ends and how deep it is."""

    outline_mm: tuple[tuple[float, float], ...]
    """Corners of the inner wall at the waterline, tank frame, anticlockwise, at least three."""
    water_depth_mm: float
    u_water_depth_mm: float = 2.0


@dataclass(frozen=True, slots=True)
class Line:
    """A line on the water plane that a boat crosses, from point a to point b."""

    name: str
    role: LineRole
    a_mm: tuple[float, float]
    b_mm: tuple[float, float]
    u_mm: float = 1.0
    """Standard uncertainty of its place across its own direction."""


@dataclass(frozen=True, slots=True)
class Gate:
    """A light beam across the water. It stands at a line and trips on the first part of a boat that reaches it."""

    name: str
    line: str
    """Name of the line that it times."""
    offset_mm: float = 0.0
    """How far past the line (in the direction of travel) the beam trips."""
    u_offset_mm: float = 1.0
    u_stamp_s: float = 0.0001
    """Standard uncertainty of one stamp of its driver."""


@dataclass(frozen=True, slots=True)
class DriverChoice:
    """Which driver serves, by its kind, and its own options as written in the rig file."""

    kind: str
    options: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CameraSetup:
    """The camera's driver and what is known of its time."""

    driver: DriverChoice | None
    calibration: str
    """Path of the calibration file, relative to the rig file."""
    delay_s: float = 0.0
    """How much later than the truth its stamps are (light sync); subtracted from every frame time."""
    u_delay_s: float = 0.0
    line_ns: int = 0
    """Row-to-row time where the frames do not say it themselves."""
    exposure_ns: int = 0
    """Exposure where the frames do not say it themselves."""


@dataclass(frozen=True, slots=True)
class Rig:
    """One set-up: a tank, its lines and gates, its camera."""

    name: str
    tank: Tank
    lines: tuple[Line, ...]
    gates: tuple[Gate, ...] = ()
    gates_driver: DriverChoice | None = None
    camera: CameraSetup | None = None
    gate_distance_mm: float | None = None
    """Tape-measured distance from the start beam to the finish beam, if it was measured."""
    u_gate_distance_mm: float = 2.0
    simulated: bool = False

    def line(self, role: LineRole) -> Line | None:
        """The first line with that role, or None."""
        return next((line for line in self.lines if line.role == role), None)

    def gate_at(self, line: str) -> Gate | None:
        """The gate that times the line of that name, or None."""
        return next((gate for gate in self.gates if gate.line == line), None)


@dataclass(frozen=True, slots=True)
class Boat:
    """The boat card: what was measured on land."""

    name: str
    """Nickname of the boat or its team; never a child's name."""
    team: str = ""
    version: int = 1
    """Counts rebuilds."""
    length_mm: float | None = None
    u_length_mm: float = 1.0
    width_mm: float | None = None
    u_width_mm: float = 1.0
    freeboard_mm: float | None = None
    """Height of the deck above the water at rest."""
    u_freeboard_mm: float = 1.2
    """A ruler read to ±2 mm: 2/√3."""
    mass_g: float | None = None
    u_mass_g: float = 0.3
    """A scale that shows whole grams: 0.5/√3."""
    mast_height_mm: float | None = None
    """Top of mast or sail above the water, if it has one."""
    colour: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was the same or different around the boat."""

    power: Power = "unknown"
    blowers_count: int | None = None
    fan_distance_mm: float | None = None
    fan_setting: str = ""
    wind_direction_deg: float | None = None
    cargo_g: float | None = None
    water_temperature_degc: float | None = None
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Rules:
    """What counts, agreed before the run."""

    time_cap_s: float = 60.0
    stop_speed_mm_per_s: float = 10.0
    """At rest means slower than this ..."""
    stop_for_s: float = 1.0
    """... for this long."""
    rearm_clear_s: float = 0.5
    """A gate counts a new passage only after its beam was clear this long."""
    wall_margin_mm: float = 5.0
    """A bow this near the wall has touched it."""


@dataclass(frozen=True, slots=True)
class RunCard:
    """Everything known about a run before it starts, as in recording.toml."""

    id: str
    kind: KindOfRun
    recorded_at: str
    """Wall time, RFC 3339, once per recording."""
    boat: Boat
    conditions: Conditions = field(default_factory=Conditions)
    rules: Rules = field(default_factory=Rules)
    clock_set_by: str = "unknown"
    """How the wall clock was set: network, battery, browser, unknown, simulated."""
    software: str = ""
    simulated: bool = False
