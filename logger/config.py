"""The rig and the run as frozen values: what rig.toml and recording.toml say, after all checks.

Each field's type says what a file may hold there (see settings.py); the files are described in recording/FORMATS.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal, TypeAlias

from logger.settings import Range, Text

KindOfRun: TypeAlias = Literal["straight", "drift", "course", "cargo", "rings", "distance", "balance", "load"]
BY_HAND: frozenset[KindOfRun] = frozenset(("balance", "load"))
"""Tests that are written down by hand; the rig measures nothing in them."""
LineRole: TypeAlias = Literal["start", "mark", "finish"]
ZoneKind: TypeAlias = Literal["port", "obstacle", "ring"]
TagKind: TypeAlias = Literal["square", "disc"]
Power: TypeAlias = Literal["breath", "fan", "wind", "balloon", "hand", "motor", "unknown"]

Name: TypeAlias = Annotated[str, Text(most=40, least=1)]
FileName: TypeAlias = Annotated[str, Text(most=40, least=1, without='/\\:*?"<>|')]
Word: TypeAlias = Annotated[str, Text(most=40)]
Notes: TypeAlias = Annotated[str, Text(most=2000, lines=True)]
Positive: TypeAlias = Annotated[float, Range(above=0)]
NotNegative: TypeAlias = Annotated[float, Range(least=0)]
Count: TypeAlias = Annotated[int, Range(least=0)]
ShortTime: TypeAlias = Annotated[int, Range(least=0, most=1_000_000_000)]
"""Nanoseconds, at most one second."""
Point: TypeAlias = tuple[float, float]

GATES_SOURCE, CAMERA_SOURCE, PANEL_SOURCE = "gates", "camera", "panel"
"""What the drivers of a rig are called in its recordings, whichever kind they are."""


@dataclass(frozen=True, slots=True)
class Tank:
    """The water: where it ends and how deep it is."""

    outline_mm: tuple[Point, ...]
    """Corners of the inner wall at the waterline, tank frame, anticlockwise, at least three."""
    water_depth_mm: Positive
    u_water_depth_mm: NotNegative = 2.0


@dataclass(frozen=True, slots=True)
class Line:
    """A line on the water plane that a boat crosses, from point a to point b."""

    name: Name
    role: LineRole
    a_mm: Point
    b_mm: Point
    u_mm: NotNegative = 1.0
    """Standard uncertainty of its place across its own direction."""


@dataclass(frozen=True, slots=True)
class Gate:
    """A light beam across the water. It stands at a line and trips on the first part of a boat that reaches it."""

    name: Name
    line: Name
    """Name of the line that it times."""
    offset_mm: float = 0.0
    """How far past the line (in the direction of travel) the beam trips."""
    u_offset_mm: NotNegative = 1.0
    u_stamp_s: NotNegative = 0.0001
    """Standard uncertainty of one stamp of its driver."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A part of the water that means something: by its corners, or round about a middle."""

    name: Name
    kind: ZoneKind
    outline_mm: tuple[Point, ...] = ()
    """Corners, tank frame, anticlockwise, at least three; none if it is round."""
    middle_mm: Point | None = None
    radius_mm: Positive | None = None
    u_mm: NotNegative = 5.0
    """Standard uncertainty of where its border is."""


@dataclass(frozen=True, slots=True)
class DriverChoice:
    """Which driver serves, by its kind, and its own options as written in the rig file."""

    kind: Name
    options: Mapping[str, object] = field(default_factory=dict)

    @property
    def is_simulated(self) -> bool:
        """Whether its records are invented."""
        return self.kind.startswith("simulated_")

    @property
    def is_live(self) -> bool:
        """Whether its records happen now, on this computer's clock, and are no story with a clock of its own."""
        return self.kind.startswith("simulated_live_") or not self.kind.startswith(("simulated_", "recorded_"))


@dataclass(frozen=True, slots=True)
class CameraSetup:
    """The camera's driver and what is known of its time."""

    driver: DriverChoice | None
    calibration: str
    """Path of the calibration file, relative to the rig file."""
    delay_s: float = 0.0
    """How much later than the truth its stamps are (light sync); subtracted from every frame time."""
    u_delay_s: NotNegative = 0.0
    line_ns: ShortTime = 0
    """Row-to-row time where the frames do not say it themselves."""
    exposure_ns: ShortTime = 0
    """Exposure where the frames do not say it themselves."""


@dataclass(frozen=True, slots=True)
class Rig:
    """One set-up: a tank, its lines and gates, its camera."""

    name: Name
    tank: Tank
    lines: tuple[Line, ...]
    gates: tuple[Gate, ...] = ()
    gates_driver: DriverChoice | None = None
    camera: CameraSetup | None = None
    panel_driver: DriverChoice | None = None
    """Buttons, lamp and buzzer."""
    light_driver: DriverChoice | None = None
    """The light in the picture with which the camera's delay is measured."""
    scale_driver: DriverChoice | None = None
    """The scale that weighs boats."""
    gate_distance_mm: Positive | None = None
    """Tape-measured distance from the start beam to the finish beam, if it was measured."""
    u_gate_distance_mm: NotNegative = 2.0
    simulated: bool = False
    zones: tuple[Zone, ...] = ()
    """Ports, obstacles and rings."""

    @property
    def witnesses(self) -> Mapping[str, DriverChoice]:
        """The drivers whose records make a recording, by the names that it knows them by."""
        camera = None if self.camera is None else self.camera.driver
        named = {GATES_SOURCE: self.gates_driver, CAMERA_SOURCE: camera, PANEL_SOURCE: self.panel_driver}
        return {name: choice for name, choice in named.items() if choice is not None}

    def line(self, role: LineRole) -> Line | None:
        """The first line with that role, or None."""
        return next((line for line in self.lines if line.role == role), None)

    def gate_at(self, line: str) -> Gate | None:
        """The gate that times the line of that name, or None."""
        return next((gate for gate in self.gates if gate.line == line), None)


@dataclass(frozen=True, slots=True)
class Tag:
    """What is printed and stuck on a boat's deck so that the camera knows it: a square with a number, or a disc."""

    kind: TagKind
    number: Count | None = None
    """Which square; a disc has none."""
    size_mm: Positive = 40.0
    """Side of the black square; diameter of the black disc."""
    u_size_mm: NotNegative = 0.2
    height_mm: NotNegative | None = None
    """Height of the printed face above the water at rest; None: it lies on the deck."""
    u_height_mm: NotNegative = 1.2
    bow_ahead_mm: Positive | None = None
    """From the tag's middle forward to the bow, at the waterline; None: it sits halfway along the boat."""
    u_bow_ahead_mm: NotNegative = 0.6
    left_mm: float = 0.0
    """How far to the left of the boat's middle line the tag's middle sits; negative: to the right."""
    u_left_mm: NotNegative = 1.0
    u_turn_deg: NotNegative = 1.5
    """How well the tag's arrow points to the bow."""


@dataclass(frozen=True, slots=True)
class Boat:
    """The boat card: what was measured on land."""

    name: Name
    """Nickname of the boat or its team; never a child's name."""
    team: Word = ""
    version: Annotated[int, Range(least=1)] = 1
    """Counts rebuilds."""
    length_mm: Positive | None = None
    u_length_mm: NotNegative = 1.0
    width_mm: Positive | None = None
    u_width_mm: NotNegative = 1.0
    freeboard_mm: NotNegative | None = None
    """Height of the deck above the water at rest."""
    u_freeboard_mm: NotNegative = 1.2
    """A ruler read to ±2 mm: 2/√3."""
    mass_g: Positive | None = None
    u_mass_g: NotNegative = 0.3
    """A scale that shows whole grams: 0.5/√3."""
    mast_height_mm: NotNegative | None = None
    """Top of mast or sail above the water, if it has one."""
    colour: Word = ""
    material: Word = ""
    """What its hull is made of, in words."""
    notes: Notes = ""
    tag: Tag | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was the same or different around the boat."""

    power: Power = "unknown"
    blowers_count: Count | None = None
    fan_distance_mm: NotNegative | None = None
    fan_setting: Word = ""
    wind_direction_deg: Annotated[float, Range(least=-360, most=360)] | None = None
    cargo_g: NotNegative | None = None
    water_temperature_degc: Annotated[float, Range(least=-5, most=60)] | None = None
    notes: Notes = ""


@dataclass(frozen=True, slots=True)
class Rules:
    """What counts, agreed before the run."""

    time_cap_s: Positive = 60.0
    stop_speed_mm_per_s: Positive = 10.0
    """At rest means slower than this ..."""
    stop_for_s: NotNegative = 1.0
    """... for this long."""
    rearm_clear_s: NotNegative = 0.5
    """A gate counts a new passage only after its beam was clear this long."""
    wall_margin_mm: NotNegative = 5.0
    """A bow this near the wall has touched it."""


@dataclass(frozen=True, slots=True)
class RunCard:
    """Everything known about a run before it starts, as in recording.toml."""

    id: FileName
    kind: KindOfRun
    recorded_at: Word
    """Wall time, RFC 3339, once per recording."""
    boat: Boat
    conditions: Conditions = field(default_factory=Conditions)
    rules: Rules = field(default_factory=Rules)
    clock_set_by: Word = "unknown"
    """How the wall clock was set: network, battery, browser, unknown, simulated."""
    software: Word = ""
    simulated: bool = False
    lesson: Word = ""
    """The folder of the lesson in which it was run; runs of two lessons may have one id."""

    @property
    def season_id(self) -> str:
        """Its name among the runs of many lessons."""
        return f"{self.lesson}/{self.id}" if self.lesson else self.id
