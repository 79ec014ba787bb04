"""The one dictionary of names: every number that leaves the program is called as here, in files and on pages alike.

A name ends in its unit; `u_` before it is its standard uncertainty. Units are written in UCUM ("1" is a plain number).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Column:
    """What one name means."""

    name: str
    unit: str
    """UCUM code; "" for text."""
    words: str
    """What a person calls it."""
    meaning: str
    """One sentence: exactly what was measured."""
    decimals: int
    """Decimals in files, so many that rounding never shows; 0 for whole numbers and text."""

    @property
    def step(self) -> float:
        """In what steps it comes: 1 for what is counted, 0 for what is measured."""
        return 1.0 if self.unit == "1" and self.decimals == 0 else 0.0


SPEED_MAX_WINDOW_S = 0.25
"""Top speed is a mean over this long: a shorter stretch would show the noise of the picture, not the boat."""

_RESULTS = (
    Column("time_s", "s", "time", "From the bow reaching the start line to the bow reaching the finish line, or the "
           "mark line in a drift run.", 4),
    Column("time_from_go_s", "s", "time from go", "From the go signal to the bow reaching the finish line, or the mark "
           "line in a drift run.", 4),
    Column("speed_mean_m_per_s", "m/s", "mean speed", "Distance between the two lines divided by the time between "
           "them; between the two beams if gates timed both.", 5),
    Column("speed_at_line_m_per_s", "m/s", "speed at the line", "Speed of the boat's middle at the moment its bow "
           "reached the finish line, or the mark line in a drift run.", 5),
    Column("speed_max_m_per_s", "m/s", "top speed", "Highest mean speed over a quarter of a second, between the start "
           "line and the end of the run.", 5),
    Column("drift_mm", "mm", "drift", "How far past the mark line the bow was when the boat came to rest, that is when "
           "it began to stay slower than the rules' stop speed for the rules' stop time; what it creeps after that "
           "does not count. If it touched the wall or the time was up before that: at least so far.", 2),
    Column("path_mm", "mm", "path length", "Length of the way of the boat's middle from the start line to the end of "
           "the run.", 2),
    Column("straightness", "1", "straightness", "Straight distance from the beginning to the end of the path divided "
           "by its length: 1 is dead straight.", 5),
    Column("sideways_mm", "mm", "sideways", "Greatest distance of the boat's middle from the straight line that joins "
           "the beginning and the end of its path.", 2),
    Column("heading_swing_deg", "deg", "swing", "Greatest less least direction of the bow between the start line and "
           "the end of the run.", 2),
    Column("stuck_s", "s", "time stuck", "How long the boat was slower than the rules' stop speed between the start "
           "line and the end of the run; its last rest in a drift run does not count.", 3),
    Column("distance_mm", "mm", "distance", "How far past the start line the bow was when the time of a distance run "
           "was up, or the run ended.", 2),
    Column("coast_time_s", "s", "coast time", "From the bow reaching the mark line of a drift run to rest, as for the "
           "drift. If it did not come to rest: at least so long.", 4),
    Column("deceleration_m_per_s2", "m/s2", "slowing", "How quickly drag slowed the boat at the speed that it had at "
           "the mark line of a drift run, from its coast.", 5),
    Column("drag_linear_per_s", "/s", "drag, linear", "Drag that grows with the speed, over the moving mass: a/m in "
           "dv/dt = -(a·v + b·v²)/m, both fitted to the coast.", 5),
    Column("drag_quadratic_per_m", "/m", "drag, quadratic", "Drag that grows with the speed squared, over the moving "
           "mass: b/m in dv/dt = -(a·v + b·v²)/m, fitted to the coast.", 5),
    Column("ports_count", "1", "ports", "How many different ports a part of the waterline lay over between go and the "
           "end of the run.", 0),
    Column("port_dwell_s", "s", "time in ports", "How long a part of the waterline lay over a port, all ports "
           "together.", 3),
    Column("rings_count", "1", "rings", "How many different rings a part of the waterline lay over between go and the "
           "end of the run; where a person counted, as that person says.", 0),
    Column("cargo_count", "1", "cargo", "How many pieces of cargo were brought, as a person counted them.", 0),
    Column("cargo_per_min", "/min", "cargo rate", "Pieces of cargo divided by the time from the go signal to the "
           "rules' time cap, or to where somebody stopped the run.", 4),
    Column("obstacle_touches_count", "1", "obstacle touches", "How often the waterline came over an obstacle between "
           "go and the end of the run; where a person counted, as that person says.", 0),
    Column("weights_count", "1", "weights", "How many weights the boat carried before it tipped or sank, in a test of "
           "load or balance, as a person counted them.", 0),
)  # fmt: skip

_TRACK = (
    Column("t_ns", "ns", "time stamp", "Nanoseconds of the host's monotonic clock at mid-exposure of the boat.", 0),
    Column("t_s", "s", "time", "Seconds since the bow reached the start line; since the first line of the table if it "
           "did not.", 6),
    Column("x_mm", "mm", "distance along", "Place of the waterline's centroid along the tank, from the start line.", 3),
    Column("y_mm", "mm", "distance to the left", "Place of the waterline's centroid across the tank, to the left.", 3),
    Column("heading_deg", "deg", "heading", "Direction of the bow, anticlockwise from the tank's x axis.", 3),
    Column("u_x_mm", "mm", "doubt along", "Standard uncertainty of x_mm, all sources together.", 3),
    Column("u_y_mm", "mm", "doubt to the left", "Standard uncertainty of y_mm, all sources together.", 3),
    Column("speed_m_per_s", "m/s", "speed", "Speed of the waterline's centroid, smoothed.", 5),
    Column("u_speed_m_per_s", "m/s", "doubt of the speed", "Standard uncertainty of speed_m_per_s, all sources "
           "together.", 5),
    Column("quality", "", "quality", "measured, bridged (carried over a gap) or doubtful.", 0),
)  # fmt: skip

_RUN = (
    Column("run_id", "", "run", "Name of the run, the same in every table.", 0),
    Column("date", "", "date", "Date of the recording where it was made.", 0),
    Column("clock_time", "", "time of day", "Time of day where the recording was made.", 0),
    Column("recorded_at", "", "recorded at", "Date, time and offset from UTC, as RFC 3339 writes them.", 0),
    Column("clock_set_by", "", "clock set by", "How the wall clock was set; intervals do not depend on it.", 0),
    Column("order_index", "1", "order", "Place in the order in which the runs were made, from 1.", 0),
    Column("boat", "", "boat", "Nickname of the boat.", 0),
    Column("team", "", "team", "Nickname of the team.", 0),
    Column("version", "1", "version", "Counts rebuilds of the boat, from 1.", 0),
    Column("kind", "", "kind of run", "straight, drift, course ...", 0),
    Column("status", "", "status", "valid, void, did_not_finish or freed, after all corrections.", 0),
    Column("status_reason", "", "reason", "Why somebody changed the status.", 0),
    Column("counted", "", "counted", "true if the run counts: it is valid or freed.", 0),
    Column("end_reason", "", "end", "What ended the run.", 0),
    Column("drift_at_least", "", "at least", "true if the drift was cut short: the truth is drift_mm or more.", 0),
    Column("power", "", "power", "What drove the boat.", 0),
    Column("blowers_count", "1", "blowers", "How many people blew.", 0),
    Column("fan_setting", "", "fan setting", "As written on the fan.", 0),
    Column("fan_distance_mm", "mm", "fan distance", "From the fan to the start line.", 1),
    Column("wind_direction_deg", "deg", "wind direction", "Where the wind blows to, anticlockwise from +x.", 1),
    Column("cargo_g", "g", "cargo", "Mass of what the boat carried; it is part of the boat's mass, mass_g.", 2),
    Column("water_depth_mm", "mm", "water depth", "Depth of the water in the tank.", 1),
    Column("gate_distance_mm", "mm", "gate distance", "From the start beam to the finish or mark beam, taped.", 2),
    Column("flags", "", "doubts", "What looked doubtful; several are parted by |.", 0),
    Column("note", "", "note", "What somebody wrote down.", 0),
    Column("simulated", "", "simulated", "true if no boat was in the water.", 0),
    Column("calibration", "", "calibration", "Name of the camera calibration that was used.", 0),
    Column("software", "", "software", "What measured the run.", 0),
)  # fmt: skip

_VISIT = (
    Column("zone", "", "place", "Name of the port, obstacle or ring.", 0),
    Column("zone_kind", "", "kind of place", "port, obstacle or ring.", 0),
    Column("from_ns", "ns", "came", "When a part of the waterline came over it; the nearest moment if it perhaps did "
           "not.", 0),
    Column("to_ns", "ns", "left", "When no part of the waterline lay over it any more.", 0),
    Column("stay_s", "s", "stay", "How long it lay there.", 3),
    Column("chance", "1", "chance", "How likely the boat was there at all, 0 to 1, by the doubt of hull and "
           "border.", 4),
)  # fmt: skip

_BOAT = (
    Column("length_mm", "mm", "length", "Length of the boat.", 1),
    Column("width_mm", "mm", "width", "Width of the boat.", 1),
    Column("freeboard_mm", "mm", "freeboard", "Height of the deck above the water.", 1),
    Column("mass_g", "g", "mass", "Mass of the boat as it ran, its cargo included.", 2),
    Column("mast_height_mm", "mm", "mast height", "Top of mast or sail above the water.", 1),
    Column("colour", "", "colour", "Colour of the deck.", 0),
    Column("material", "", "material", "What the hull is made of.", 0),
)  # fmt: skip

_EDGE = (
    Column("gate", "", "gate", "Name of the light beam.", 0),
    Column("level", "1", "level", "1: the beam was broken at this moment; 0: it became clear.", 0),
)  # fmt: skip

RESULTS: tuple[str, ...] = tuple(c.name for c in _RESULTS)
"""Names of the results of a trial, in the order in which pages and tables show them."""

TRACK: tuple[str, ...] = tuple(c.name for c in _TRACK)
"""Columns of track.csv in their order."""

COLUMNS: Mapping[str, Column] = MappingProxyType(
    {c.name: c for c in (*_RESULTS, *_TRACK, *_RUN, *_VISIT, *_BOAT, *_EDGE)}
)
