"""A trial to and from trial.json. Numbers keep every digit; an infinite number of degrees of freedom is null."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, get_args

from calibration.quantity import Quantity, Source
from logger.config import KindOfRun, ZoneKind
from logger.errors import InputError
from logger.results.trial import FORMAT, Crossing, EndReason, NotMeasured, Result, Status, Trial, Visit, Witness
from logger.vision.track import Touch


def to_json(trial: Trial) -> str:
    """The text of trial.json, one line break at its end."""
    content = {
        "format": FORMAT,
        "run": trial.run_id,
        "kind": trial.kind,
        "status": trial.status,
        "end_reason": trial.end_reason,
        "crossings": [{"line": c.line, "t_ns": c.t_ns, "u_s": c.u_s, "from": c.witness} for c in trial.crossings],
        "results": {name: _result(result) for name, result in trial.results.items()},
        "not_measured": {name: gap.reason for name, gap in trial.not_measured.items()},
        "flags": list(trial.flags),
        "touches": [
            {"from_ns": t.from_ns, "to_ns": t.to_ns, "change_mm_per_s": t.change_mm_per_s} for t in trial.touches
        ],
        "visits": [
            {
                "zone": v.zone,
                "kind": v.kind,
                "from_ns": v.from_ns,
                "to_ns": v.to_ns,
                "u_from_s": v.u_from_s,
                "u_to_s": v.u_to_s,
                "chance": v.chance,
            }
            for v in trial.visits
        ],
        "contributions": {name: _contributions(result.quantity) for name, result in trial.results.items()},
        "software": trial.software,
        "calibration": trial.calibration_id,
        "simulated": trial.simulated,
    }
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _result(result: Result) -> dict[str, object]:
    q = result.quantity
    dof = q.dof if math.isfinite(q.dof) else None
    shown: dict[str, object] = {
        "value": q.value, "u": q.u, "U": q.U, "k": q.k, "dof": dof, "unit": q.unit, "from": result.witness
    }  # fmt: skip
    return {**shown, "at_least": True} if result.at_least else shown


def _contributions(quantity: Quantity) -> list[dict[str, object]]:
    """Largest first, signed: two results moved the same way by one source have equal signs there."""
    ranked = sorted(quantity.contributions.items(), key=lambda item: (-abs(item[1]), item[0].name))
    return [
        {"source": s.name, "u": u}
        | ({"dof": s.dof} if math.isfinite(s.dof) else {})
        | ({"ensemble": s.ensemble} if s.ensemble else {})
        for s, u in ranked
    ]


def from_json(text: str, *, where: str = "trial.json") -> Trial:
    """The trial that `text` describes.

    Raises:
        InputError: not JSON, another format, or a value of the wrong kind; `where` names the file in the message.
    """
    try:
        content = json.loads(text)
    except ValueError as error:
        raise InputError(f"{where}: not JSON ({error}); measure the recording again to make it new") from None
    found = content.get("format") if isinstance(content, dict) else type(content).__name__
    if found != FORMAT:
        raise InputError(f"{where}: format {found!r}; wanted {FORMAT!r}; measure the recording again to make it new")
    try:
        return _trial(content)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            f"{where}: {type(error).__name__} at {error}; wanted a complete {FORMAT}; measure the recording again"
        ) from None


def _trial(content: Mapping[str, Any]) -> Trial:
    budgets = content["contributions"]
    return Trial(
        run_id=str(content.get("run", "")),
        kind=_one_of(content["kind"], get_args(KindOfRun)),
        status=_one_of(content["status"], get_args(Status)),
        crossings=tuple(
            Crossing(str(c["line"]), int(c["t_ns"]), float(c["u_s"]), _one_of(c["from"], get_args(Witness)))
            for c in content["crossings"]
        ),
        results={name: _read_result(r, budgets[name]) for name, r in content["results"].items()},
        not_measured={name: NotMeasured(str(reason)) for name, reason in content.get("not_measured", {}).items()},
        flags=tuple(str(flag) for flag in content["flags"]),
        touches=tuple(
            Touch(int(t["from_ns"]), int(t["to_ns"]), float(t["change_mm_per_s"])) for t in content.get("touches", ())
        ),
        visits=tuple(
            Visit(
                str(v["zone"]),
                _one_of(v["kind"], get_args(ZoneKind)),
                int(v["from_ns"]),
                int(v["to_ns"]),
                float(v["u_from_s"]),
                float(v["u_to_s"]),
                float(v["chance"]),
            )
            for v in content.get("visits", ())
        ),
        end_reason=_one_of(content["end_reason"], get_args(EndReason)),
        software=str(content.get("software", "")),
        calibration_id=str(content.get("calibration", "")),
        simulated=bool(content.get("simulated", False)),
    )


def _read_result(result: Mapping[str, Any], budget: list[Mapping[str, Any]]) -> Result:
    parts = {
        Source(str(c["source"]), float(c.get("dof", math.inf)), str(c.get("ensemble", ""))): float(c["u"])
        for c in budget
    }
    quantity = Quantity(float(result["value"]), str(result["unit"]), parts)
    return Result(quantity, str(result["from"]), bool(result.get("at_least", False)))


def _one_of(value: Any, allowed: tuple[Any, ...]) -> Any:
    if value not in allowed:
        raise ValueError(f"{value!r}, one of {', '.join(map(str, allowed))} is wanted")
    return value
