"""What came of given lines, beams and zones, in words and as the table that is kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calibration.lines import agreement
from calibration.quantity import Quantity, Source
from logger import settings
from logger.checkup.placed import Placements
from logger.config import Rig
from logger.recording.place_list import GivenPlace
from logger.results.lines import distance_between

_CAUSES_COUNT = 3


def told(made: Placements, rig: Rig, taped: Quantity | None) -> str:
    """For a person; `rig` has the places in it already."""
    said = []
    for line in made.lines:
        x = (line.a_mm[0] + line.b_mm[0]) / 2
        lean = math.degrees(math.atan2(line.a_mm[0] - line.b_mm[0], line.b_mm[1] - line.a_mm[1]))
        lean = (lean + 90) % 180 - 90
        turned = f", turned by {lean:.1f}°" if abs(lean) >= 0.05 else ""
        said.append(
            f"{line.role} line {line.name}: x = {x:.1f} mm at its middle{turned}, ± {2 * line.u_mm:.1f} mm (95 %)"
        )
        said += _causes(made, line.name)
    for gate in made.gates:
        side = "past" if gate.offset_mm >= 0 else "before"
        said.append(
            f"gate {gate.name}: its beam is {abs(gate.offset_mm):.1f} mm {side} the {gate.line} line, "
            f"± {2 * gate.u_offset_mm:.1f} mm (95 %)"
        )
        said += _causes(made, gate.name)
    for zone in made.zones:
        shape = (
            f"round, {zone.radius_mm:g} mm about its middle" if zone.radius_mm else f"{len(zone.outline_mm)} corners"
        )
        said.append(f"{zone.kind} {zone.name}: {shape}, its border ± {2 * zone.u_mm:.0f} mm (95 %)")
    for spot in made.spots:
        if spot.height_mm < 0:
            x, y = spot.place_mm
            at = f"{spot.pixel[0]:g},{spot.pixel[1]:g}"
            said.append(f"  {spot.name}: what is seen on the floor at {at} lies at {x:.0f},{y:.0f} mm")
    if taped is not None:
        said.append(f"from beam to beam {taped} by tape (95 %)")
    said += [f"  note: {note}" for note in (*made.notes, *_against_tape(rig, taped))]
    return "\n".join(said)


def _causes(made: Placements, name: str) -> list[str]:
    parts = (made.parts_mm or {}).get(name, {})
    largest = sorted(parts.items(), key=lambda part: -part[1])[:_CAUSES_COUNT]
    shown = ", ".join(f"{source} {u:.1f}" for source, u in largest if u >= 0.05)
    return [f"  doubt (standard uncertainty in mm): {shown}"] if shown else []


def _against_tape(rig: Rig, taped: Quantity | None) -> list[str]:
    """Whether lines and gates are as far apart as the tape says."""
    start, finish = rig.line("start"), rig.line("finish")
    if start is None or finish is None:
        return []
    first, last = rig.gate_at(start.name), rig.gate_at(finish.name)
    if taped is None and rig.gate_distance_mm is not None:
        taped = Quantity.of(rig.gate_distance_mm, "mm", u=rig.u_gate_distance_mm, source="tape")
    if taped is None or first is None or last is None:
        return []
    parts = {Source("first beam"): first.u_offset_mm, Source("last beam"): last.u_offset_mm}
    drawn = distance_between(start, finish, rig) + Quantity(last.offset_mm - first.offset_mm, "mm", parts)
    compared = agreement(drawn, taped)
    off = drawn.value - taped.value
    words = f"lines and gates make {drawn.value:.1f} mm from beam to beam, the tape {taped.value:.1f} mm: {off:+.1f} mm"
    if compared.agrees:
        return [f"{words}, within what both allow"]
    return [f"{words}, MORE THAN BOTH ALLOW ({off / taped.value:+.1%}): tape again, see the lines; is the plane right?"]


def table(
    made: Placements, rig: Rig, taped: Quantity | None, given: Sequence[GivenPlace], *, made_at: str, picture: str
) -> dict[str, Any]:
    """What is kept as places.toml."""
    kept: dict[str, Any] = {
        "format": "boatrun-places/1", "made_at": made_at, "rig": rig.name, "picture": picture,
        "water_depth_mm": rig.tank.water_depth_mm, "u_water_depth_mm": rig.tank.u_water_depth_mm,
        "given": [settings.to_table(one) for one in given],
        "lines": [settings.to_table(one) for one in made.lines],
        "gates": [settings.to_table(one) for one in made.gates],
        "zones": [settings.to_table(one) for one in made.zones],
        "doubt_mm": {name: {s: round(u, 3) for s, u in parts.items()} for name, parts in (made.parts_mm or {}).items()},
        "notes": list(made.notes),
    }  # fmt: skip
    if taped is not None:
        kept["taped_mm"], kept["u_taped_mm"] = round(taped.value, 3), round(taped.u, 3)
    return kept
