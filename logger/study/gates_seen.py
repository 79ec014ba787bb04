"""What a check boat said of the gates: each passage as a dot beside the place that came out, gate by gate.

A dot lies where the camera had the bow when the beam broke, across the line, with what is known of it alone as a bar;
rings are passages that were left out. The band is the place that came out, 95 %.
"""

from __future__ import annotations

from importlib.resources import files

from calibration.beams import BeamFit, Sighting
from calibration.quantity import plus_minus
from logger.study import svg
from logger.study.axes import Axis, axis

WIDTH = 720.0
_LEFT, _RIGHT, _TOP, _ROW = 150.0, 700.0, 92.0, 24.0
_LEAST_SPAN_MM = 4.0


def gates_picture(fit: BeamFit) -> str:
    """An SVG document with its own styles."""
    css = files("logger.study").joinpath("drawing.css").read_text(encoding="utf-8").partition("@media")[0]
    every = [*fit.kept, *(out.sighting for out in fit.left_out)]
    gates = list(fit.places)
    rows = [(gate, [s for s in every if s.gate == gate]) for gate in gates]
    height = _TOP + sum((len(seen) + 2) * _ROW for _, seen in rows) + 60
    across = _axis(fit, every)
    drawn: list[str] = []
    y = _TOP
    for gate, seen in rows:
        drawn += _gate(gate, seen, fit, across, y)
        y += (len(seen) + 2) * _ROW
    told = "; ".join(f"{g}: {plus_minus(fit.places[g].value, fit.places[g].U)} mm" for g in gates)
    return svg.picture(
        WIDTH, height,
        f"<style>{css}</style>",
        svg.tag("rect", x=0, y=0, width=WIDTH, height=height, fill="#eef6f7"),
        svg.words(20, 28, "Where the beams are, past their lines (95 %)", class_="crossing-name"),
        svg.words(20, 52, "dot: the bow by the camera when the beam broke; ring: left out; band: what came out",
                  class_="tick"),
        *_ticks(across, y),
        *drawn,
        svg.words(_RIGHT, height - 10, "mm past the line", class_="axis-name", text_anchor="end"),
        title=f"Places of the gates' beams: {told}",
        summary=f"{len(fit.kept)} passages used, {len(fit.left_out)} left out. {told}.",
        key="gates",
    )  # fmt: skip


def _axis(fit: BeamFit, every: list[Sighting]) -> Axis:
    ends = [s.past_mm + sign * s.u_mm for s in every for sign in (-2, 2)]
    ends += [q.value + sign * q.U for q in fit.places.values() for sign in (-1, 1)]
    middle, half = (min(ends) + max(ends)) / 2, max((max(ends) - min(ends)) / 2, _LEAST_SPAN_MM / 2) * 1.08
    return axis(middle - half, middle + half, start_px=_LEFT, end_px=_RIGHT, about_count=8)


def _ticks(across: Axis, bottom: float) -> list[str]:
    parts = []
    for t in across.ticks():
        x = across.px(t)
        parts.append(svg.tag("line", x1=x, x2=x, y1=_TOP - 12, y2=bottom, class_="nought" if t == 0 else "square"))
        parts.append(svg.words(x, bottom + 20, across.label(t), class_="tick", text_anchor="middle"))
    return parts


def _gate(gate: str, seen: list[Sighting], fit: BeamFit, across: Axis, top: float) -> list[str]:
    place = fit.places[gate]
    left, right = across.px(place.value - place.U), across.px(place.value + place.U)
    tall = (len(seen) + 1) * _ROW
    drawn = [
        svg.words(12, top + 6, gate, class_="tape-name"),
        svg.tag("rect", x=left, y=top - 8, width=max(right - left, 1), height=tall, class_="band"),
        svg.tag("line", x1=across.px(place.value), x2=across.px(place.value), y1=top - 8, y2=top - 8 + tall,
                class_="mean"),
    ]  # fmt: skip
    out = {id(o.sighting) for o in fit.left_out}
    for number, one in enumerate(seen, 1):
        y = top + number * _ROW
        ends = [across.px(one.past_mm + sign * 2 * one.u_mm) for sign in (-1, 1)]
        drawn.append(svg.words(12, y + 5, one.label[:20], class_="tick"))
        drawn.append(svg.tag("line", x1=ends[0], x2=ends[1], y1=y, y2=y, class_="whisker"))
        kind = "run left-out" if id(one) in out else "run"
        drawn.append(svg.tag("circle", cx=across.px(one.past_mm), cy=y, r=5, class_=kind))
    return drawn
