"""What came out of a check boat's pulls, in words and as the table that is kept."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.beams import BeamFit
from calibration.lines import agreement
from calibration.quantity import Quantity, Source, plus_minus
from logger.config import Gate, Line, Rig
from logger.results.lines import distance_between
from logger.results.sightings import UNMEASURED_DELAY_S, u_delay_s

_SURE_K = 1.96  # a rig file's standard uncertainty has no degrees of freedom: 95 % must stay 95 %
_FEW_PASSAGES = 3
_LARGE_CHI = 4.0
_CAUSES_COUNT = 3


@dataclass(frozen=True, slots=True)
class Between:
    """From the first beam to the last."""

    seen: Quantity
    """By the camera, mm."""
    taped: Quantity | None
    """By the tape, mm; None if it was not taped."""


def line_of(rig: Rig, gate: str) -> Line:
    """The line that the gate of that name times."""
    name = next(g.line for g in rig.gates if g.name == gate)
    return next(line for line in rig.lines if line.name == name)


def gates_of(fit: BeamFit, rig: Rig) -> list[Gate]:
    """The rig's gates as they are now known; the line's own doubt is in, for an offset counts from the true line."""
    found = []
    for gate in rig.gates:
        if gate.name in fit.places:
            place = fit.places[gate.name]
            u_mm = math.hypot(max(place.u, place.U / _SURE_K), line_of(rig, gate.name).u_mm)
            found.append(Gate(gate.name, gate.line, round(place.value, 2), float(f"{u_mm:.2g}"), gate.u_stamp_s))
    return found


def between(fit: BeamFit, rig: Rig) -> Between | None:
    """The way from the start beam to the finish beam; None unless both were seen."""
    start, finish = rig.line("start"), rig.line("finish")
    first = None if start is None else rig.gate_at(start.name)
    last = None if finish is None else rig.gate_at(finish.name)
    if start is None or finish is None or first is None or last is None:
        return None
    if first.name not in fit.places or last.name not in fit.places:
        return None
    # in the tank's frame the lines are where the file says: what they are off by is no doubt of the beams
    lines = distance_between(start, finish, rig).value
    offsets = fit.places[last.name] - fit.places[first.name]
    seen = Quantity(lines + offsets.value, "mm", offsets.contributions)
    taped = None
    if rig.gate_distance_mm is not None:
        taped = Quantity.of(rig.gate_distance_mm, "mm", u=rig.u_gate_distance_mm, source="tape")
    return Between(seen, taped)


def told(fit: BeamFit, rig: Rig, notes: Sequence[str]) -> str:
    """The result for a person: places first, then what they rest on, then what to know."""
    lines = [_place(gate, fit, rig) for gate in fit.places]
    lines += [f"  {sentence}" for sentence in _rests_on(fit)]
    both = between(fit, rig)
    if both is not None:
        lines.append(f"from beam to beam {both.seen} by the camera (95 %){_against(both)}")
    doubts = [*_doubts(fit, rig, both), *notes]
    return "\n".join([*lines, *(f"  note: {doubt}" for doubt in doubts)])


def _place(gate: str, fit: BeamFit, rig: Rig) -> str:
    place, before = fit.places[gate], next(g for g in rig.gates if g.name == gate)
    count = sum(s.gate == gate for s in fit.kept)
    parts = sorted(place.contributions.items(), key=lambda item: -abs(item[1]))[:_CAUSES_COUNT]
    causes = ", ".join(f"{source.name} {abs(part):.1f}" for source, part in parts if abs(part) >= 0.05)
    side = "past" if place.value >= 0 else "before"
    return (
        f"gate {gate}: {plus_minus(abs(place.value), place.U)} mm {side} the {before.line} line (95 %), from {count} "
        f"passage{'s' * (count != 1)}; the file says {before.offset_mm:g} mm\n"
        f"  doubt (standard uncertainty in mm): {causes}"
    )


def _rests_on(fit: BeamFit) -> list[str]:
    said = []
    if not math.isnan(fit.chi_square):
        said.append(f"fit: reduced chi-squared {fit.chi_square:.2f}")
    said += [
        f"left out: {out.sighting.label}, gate {out.sighting.gate}: {out.off_mm:+.0f} mm from what the others say"
        for out in fit.left_out
    ]
    return said


def _against(both: Between) -> str:
    if both.taped is None:
        return "; it was not taped"
    compared = agreement(both.seen, both.taped)
    off = both.seen.value - both.taped.value
    words = f"; taped {both.taped}: {off:+.1f} mm, {off / both.taped.value:+.2%}"
    return words + (", they agree" if compared.agrees else ": THEY DO NOT AGREE")


def _doubts(fit: BeamFit, rig: Rig, both: Between | None) -> list[str]:
    found = []
    counts: Mapping[str, int] = {gate: sum(s.gate == gate for s in fit.kept) for gate in fit.places}
    few = [gate for gate, count in counts.items() if count < _FEW_PASSAGES]
    if few:
        found.append(f"gate {', '.join(few)}: fewer than {_FEW_PASSAGES} passages, so a wrong one would not be noticed")
    if fit.chi_square > _LARGE_CHI:
        found.append("the passages scatter by more than they say; the doubt was widened; pull more often, and straight")
    missing = [gate.name for gate in rig.gates if gate.name not in fit.places]
    if missing:
        found.append(f"gate {', '.join(missing)}: no usable passage, so nothing is known of it")
    found += _delay(fit, rig) + _one_speed(fit)
    if both is not None and both.taped is not None and not agreement(both.seen, both.taped).agrees:
        found.append(
            "tape and camera differ by more than both allow: tape again from beam to beam; if it stays, the plane's "
            "scale is wrong (a floor grid taken for the water's surface, a board not printed at 100 %)"
        )
    for gate in rig.gates:
        if gate.name in fit.places and abs(fit.places[gate.name].value - gate.offset_mm) > 2 * math.hypot(
            fit.places[gate.name].U / 2, gate.u_offset_mm, line_of(rig, gate.name).u_mm
        ):
            found.append(f"gate {gate.name} is not where the rig file has it: was it moved, or never measured?")
    return found


def _delay(fit: BeamFit, rig: Rig) -> list[str]:
    """What the passages say of the camera's delay, where slow and fast pulls say anything."""
    known = fit.learnt.get(Source("camera delay"))
    u_s = u_delay_s(rig.camera)
    if known is None or rig.camera is None:
        return []
    never = " (it was never measured: do boatrun calibrate light)" if u_s == UNMEASURED_DELAY_S else ""
    said = f"{1e3 * known.off * u_s:+.1f} ± {2e3 * known.u_off * u_s:.1f} ms"
    if abs(known.off) > 3:
        return [f"the passages say that the camera's delay is off by {said}{never}: do boatrun calibrate light again"]
    if never:
        return [f"the camera's delay is taken as open to 50 ms{never}; the passages say {said} beside the file's"]
    return []


def _one_speed(fit: BeamFit) -> list[str]:
    speeds = [s.speed_mm_per_s for s in fit.kept]
    if len(speeds) < _FEW_PASSAGES or max(speeds) - min(speeds) > 0.5 * max(abs(s) for s in speeds):
        return []
    return ["all pulls were of about one speed; slow and fast ones, there and back, also tell the camera's delay"]


def table(fit: BeamFit, rig: Rig, notes: Sequence[str], *, made_at: str, recordings: Sequence[str]) -> dict[str, Any]:
    """What is kept as gates.toml."""
    both = between(fit, rig)
    kept = [(s, r) for s, r in zip(fit.kept, fit.residuals_mm, strict=True)]
    made: dict[str, Any] = {
        "format": "boatrun-gates/1", "made_at": made_at, "rig": rig.name, "recordings": list(recordings),
        "simulated": rig.simulated,
        "gates": [
            {"name": g, "line": line_of(rig, g).name, "offset_mm": round(q.value, 3), "u_mm": round(q.u, 3),
             "doubt_mm": {s.name: round(c, 3) for s, c in q.contributions.items()}}
            for g, q in fit.places.items()
        ],
        "passages": [
            _passage(s) | {"used": True, "left_over_mm": round(r, 3)} for s, r in kept
        ] + [_passage(o.sighting) | {"used": False, "off_mm": round(o.off_mm, 3)} for o in fit.left_out],
        "notes": list(notes),
    }  # fmt: skip
    if not math.isnan(fit.chi_square):
        made["chi_square"] = round(fit.chi_square, 3)
    if both is not None:
        made["between_mm"], made["u_between_mm"] = round(both.seen.value, 3), round(both.seen.u, 3)
        if both.taped is not None:
            made["taped_mm"], made["u_taped_mm"] = both.taped.value, both.taped.u
    return made


def _passage(one: Any) -> dict[str, Any]:
    return {
        "recording": one.label, "gate": one.gate, "past_mm": round(one.past_mm, 3), "u_mm": round(one.u_mm, 3),
        "speed_mm_per_s": round(one.speed_mm_per_s, 1), "along_mm": round(one.along_mm, 1),
    }  # fmt: skip
