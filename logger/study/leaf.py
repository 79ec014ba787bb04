"""One run as the report shows it: sentences, drawings and tables made from its trial."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from logger.config import Rig, RunCard
from logger.results.monte_carlo import Drawn
from logger.results.trial import Result, Trial
from logger.study import graphs, pathmap, words
from logger.study.advice import advice, squares_by_cause
from logger.study.graphs import Curve, Labels, Moment
from logger.study.series import Series

_MOST_MOMENTS = 240


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What a page needs to know of one run."""

    card: RunCard
    rig: Rig
    trial: Trial
    series: Series | None
    """None where there is no track (a rig with gates only)."""
    zero_ns: int = 0
    """The moment that the graphs call nought."""
    truth: Mapping[str, float] = field(default_factory=dict)
    """For a simulated run: true values by the name of the result, in its unit."""
    drawn: Mapping[str, Drawn] = field(default_factory=dict)
    """What came of measuring it as it may truly have been, by the name of the result, if that was asked for."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table of results: a value with its doubt, or why there is none."""

    name: str
    value: str = ""
    doubt: str = ""
    seen_by: str = ""
    missing: str = ""
    truth: str = ""
    """The true value, of a simulated run only."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One line of a budget of doubt."""

    source: str
    u: str
    share_percent: float
    share: str


@dataclass(frozen=True, slots=True)
class Budget:
    """Where the doubt of one result comes from, the largest cause first."""

    name: str
    value: str
    caption: str
    rows: tuple[Cause, ...]
    advice: str
    """What would make it better; empty if nothing would much."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """Everything the template puts on the page for one run."""

    key: str
    boat: str
    kind: str
    status: str
    main: str
    doubts: str
    lead: str
    facts: str
    flags: tuple[str, ...]
    map: str
    map_caption: str
    graphs: tuple[str, ...]
    graph_caption: str
    moments_json: str
    moments_count: int
    rows: tuple[Row, ...]
    knows_truth: bool
    budgets: tuple[Budget, ...]
    about: tuple[tuple[str, str], ...]


def leaf_of(run: Run, key: str) -> Leaf:
    """The leaf of one run; `key` is unique on its page."""
    trial, series = run.trial, run.series
    main = trial.results.get(words.main_result(trial.kind))
    moments = _moments(run) if series is not None else []
    return Leaf(
        key=key,
        boat=run.card.boat.name,
        kind=words.kind_of_run(trial.kind),
        status=words.status_of(trial.status),
        main=words.said(main) if main else "",
        doubts=words.doubts_count(len(trial.flags)),
        lead=words.lead(trial),
        facts=_facts(run),
        flags=trial.flags,
        map=map_of(run, key),
        map_caption=_map_caption(run),
        graphs=graphs_of(run, key),
        graph_caption=_graph_caption(run),
        moments_json=json.dumps(moments, separators=(",", ":")),
        moments_count=len(moments),
        rows=tuple(_rows(trial, run.truth)),
        knows_truth=bool(run.truth),
        budgets=budgets_of(trial, run.drawn),
        about=tuple(_about(run)),
    )


def map_of(run: Run, key: str) -> str:
    """The path map as SVG."""
    return pathmap.path_map(
        run.rig,
        run.series,
        key=f"{key}-map",
        title=f"Map of the run of {run.card.boat.name}",
        summary=_map_summary(run),
    )


def graphs_of(run: Run, key: str) -> tuple[str, ...]:
    """The position-time and speed-time graphs as SVG; none without a track."""
    if run.series is None:
        return ()
    drawn = []
    for name, curve, upright in _curves(run.series):
        labels = Labels(
            upright=upright,
            across=f"seconds after {run.series.zero}",
            title=f"{name} against time, {run.card.boat.name}",
            summary=_graph_summary(name, curve),
        )
        drawn.append(
            graphs.time_graph(
                curve, labels, key=f"{key}-{name.lower()}", moments=_crossings(run), coast_s=_coast_s(run)
            )
        )
    return tuple(drawn)


def _curves(series: Series) -> Sequence[tuple[str, Curve, str]]:
    return (
        (
            "Distance",
            Curve(series.t_s, series.along_m, series.u_along_m, series.seen),
            "how far past the start line (metres)",
        ),
        (
            "Speed",
            Curve(series.t_s, series.speed_m_per_s, series.u_speed_m_per_s, series.seen),
            "how fast (metres per second)",
        ),
    )


def _seconds(run: Run, t_ns: int) -> float:
    return (t_ns - run.zero_ns) / 1e9


def _crossings(run: Run) -> list[Moment]:
    roles = {line.name: line.role for line in run.rig.lines}
    best = {c.line: c for c in sorted(run.trial.crossings, key=lambda c: -c.u_s)}
    moments = (Moment(_seconds(run, c.t_ns), c.line, roles.get(c.line, "mark")) for c in best.values())
    return sorted(moments, key=lambda moment: moment.t_s)


def _coast_s(run: Run) -> tuple[float, float] | None:
    """From the mark line to the end of the track, in a drift run."""
    mark = next((m for m in _crossings(run) if m.role == "mark"), None)
    if run.trial.kind != "drift" or mark is None or run.series is None:
        return None
    return mark.t_s, float(run.series.t_s[-1])


def _moments(run: Run) -> list[list[object]]:
    """For the slider: words, and the place of the dot on the map and on each graph, in user units."""
    series = run.series
    if series is None:
        return []
    t_s = np.linspace(series.t_s[0], series.t_s[-1], min(_MOST_MOMENTS, len(series.t_s)))
    chart = pathmap.chart_of(run.rig)
    on_map = [chart.px(*series.bow_at(float(t))) for t in t_s]
    on_graphs = [graphs.points_px(curve, t_s) for _, curve, _ in _curves(series)]
    moments: list[list[object]] = []
    for i, t in enumerate(t_s):
        told = words.moment(float(t), series.zero, series.at(t, series.along_m), series.at(t, series.speed_m_per_s))
        places = [on_map[i], *(points[i] for points in on_graphs)]
        moments.append([told, *([round(x, 1), round(y, 1)] for x, y in places)])
    return moments


def _rows(trial: Trial, truth: Mapping[str, float]) -> list[Row]:
    rows = [
        Row(
            name=words.name_of(name),
            value=words.value_only(result),
            doubt=f"±\u00a0{words.give_or_take(result.quantity)}" if result.quantity.u > 0 else "",
            seen_by=words.seen_by(result.witness),
            truth=words.true_value(truth[name], result.quantity) if name in truth else "",
        )
        for name, result in trial.results.items()
    ]
    return rows + [Row(name=words.name_of(name), missing=why.reason) for name, why in trial.not_measured.items()]


def budgets_of(trial: Trial, drawn: Mapping[str, Drawn] | None = None) -> tuple[Budget, ...]:
    """Where the doubt of each result comes from, and what draws say of it; none for what has no doubt."""
    checks = drawn or {}
    return tuple(
        _budget(name, result, checks.get(name)) for name, result in trial.results.items() if result.quantity.u > 0
    )


def _budget(name: str, result: Result, drawn: Drawn | None) -> Budget:
    quantity = result.quantity
    causes = sorted(squares_by_cause(quantity).items(), key=lambda item: -item[1])
    total = quantity.u**2
    rows = tuple(
        Cause(
            source=words.cause(source),
            u=words.doubt_alone(square**0.5, quantity.unit),
            share_percent=round(100 * square / total, 1),
            share=_percent(square / total),
        )
        for source, square in causes
    )
    caption = (
        f"Together they give a standard uncertainty of {words.doubt_alone(quantity.u, quantity.unit)}; times "
        f"{quantity.k:.2f} for 95 of 100 that is ±\u00a0{words.give_or_take(quantity)}. The shares are of the squares, "
        "because independent doubts partly cancel."
    )
    if drawn is not None:
        caption += f" Checked: {words.draws(drawn)}."
    return Budget(words.name_of(name), words.said(result), caption, rows, advice(quantity))


def _percent(share: float) -> str:
    return f"{100 * share:.0f}\u00a0%" if share >= 0.01 else "<\u00a01\u00a0%"


def _facts(run: Run) -> str:
    trial = run.trial
    parts = [] if trial.status == "valid" else [f"Marked {words.status_of(trial.status)}."]
    parts.append(words.end_of(trial.end_reason, run.card.rules))
    if called := words.visits_of(trial):
        parts.append(called)
    if not trial.flags:
        parts.append("Nothing looked doubtful.")
    return " ".join(parts)


def _map_summary(run: Run) -> str:
    lines = ", ".join(line.name for line in run.rig.lines) or "none"
    if run.series is None:
        return f"The tank from above with its lines ({lines}). There is no track of this run."
    series = run.series
    return (
        f"The tank from above with its lines ({lines}). The boat went from x {series.x_mm[0]:.0f}, "
        f"y {series.y_mm[0]:.0f} mm to x {series.x_mm[-1]:.0f}, y {series.y_mm[-1]:.0f} mm."
    ).replace("-", "−")


def _map_caption(run: Run) -> str:
    if run.series is None:
        return "The tank from above. This run has no track: it was timed by the gates alone."
    step = pathmap.dot_interval_s(run.series.t_s)
    caption = (
        f"The tank from above; numbers are millimetres, one square is 100 mm. There is one dot every {step:g} s: dots "
        "far apart mean fast, dots close together mean slow. The broken outline is the boat where its track begins, "
        "the full one where it ends."
    )
    if not bool(run.series.seen.all()):
        caption += " Hollow dots: the boat was hidden, and its place is a guess."
    return caption


def _graph_caption(run: Run) -> str:
    if run.series is None:
        return ""
    text = (
        "These are not maps: along is time, up is how far the bow is past the start line (first graph) or how fast the "
        "boat goes (second graph). In the first, steep is fast and flat is standing still. The pale band is the doubt; "
        "where you cannot see it, it is thinner than the line."
    )
    if _coast_s(run) is not None:
        text += " Striped: after the mark line, without power."
    if not bool(run.series.seen.all()):
        text += " Dotted: the boat was hidden."
    return text


def _graph_summary(name: str, curve: Curve) -> str:
    unit = "metres" if name == "Distance" else "metres per second"
    top = int(np.argmax(curve.value))
    return (
        f"From {curve.value[0]:.2f} {unit} at {curve.t_s[0]:.1f} seconds to {curve.value[-1]:.2f} {unit} at "
        f"{curve.t_s[-1]:.1f} seconds; the most is {curve.value[top]:.2f} {unit} at {curve.t_s[top]:.1f} seconds."
    ).replace("-", "−")


def _about(run: Run) -> list[tuple[str, str]]:
    card, boat = run.card, run.card.boat
    sizes = [
        f"{value:g} mm {what}"
        for value, what in ((boat.length_mm, "long"), (boat.width_mm, "wide"), (boat.freeboard_mm, "freeboard"))
        if value is not None
    ]
    facts = [
        ("Run", card.id),
        ("Recorded", f"{card.recorded_at} (clock: {card.clock_set_by})"),
        ("Boat", ", ".join([f"{boat.name}, version {boat.version}", *sizes])),
        ("Mass", "" if boat.mass_g is None else f"{boat.mass_g:g} g"),
        ("Power", words.power_of(card.conditions)),
        ("Water", f"{run.rig.tank.water_depth_mm:g} mm deep"),
        ("Rig", run.rig.name),
        ("Calibration", run.trial.calibration_id),
        ("Notes", " ".join(filter(None, (boat.notes, card.conditions.notes)))),
        ("Software", run.trial.software),
        ("Simulated", "yes" if run.trial.simulated else ""),
    ]
    return [(term, text) for term, text in facts if text]
