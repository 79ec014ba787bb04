"""Numbers and outcomes as plain sentences. Pages, prints and the command line all speak through here."""

from __future__ import annotations

import re

from calibration.quantity import Quantity, decimals_for, plus_minus
from logger.config import Conditions, KindOfRun, Rules
from logger.results import columns
from logger.results.monte_carlo import Drawn
from logger.results.trial import EndReason, Result, Status, Trial
from logger.study.tongue import N_, _

_UNITS = {
    "s": N_("seconds"),
    "ns": N_("nanoseconds"),
    "mm": N_("millimetres"),
    "m": N_("metres"),
    "m/s": N_("metres per second"),
    "mm/s": N_("millimetres per second"),
    "m/s2": N_("metres per second squared"),
    "/s": N_("per second"),
    "/min": N_("per minute"),
    "/m": N_("per metre"),
    "g": N_("grams"),
    "deg": N_("degrees"),
    "Cel": N_("degrees Celsius"),
    "1": "",
    "": "",
}
_SYMBOLS = {"Cel": "°C", "deg": "°", "m/s2": "m/s²", "/s": "1/s", "/m": "1/m", "/min": "1/min", "1": "", "": ""}

_KINDS: dict[KindOfRun, str] = {
    "straight": N_("straight run"),
    "drift": N_("drift run"),
    "course": N_("course run"),
    "cargo": N_("cargo run"),
    "rings": N_("ring run"),
    "distance": N_("distance run"),
    "balance": N_("balance test"),
    "load": N_("load test"),
}
_MANY: dict[str, str] = {
    "straight": N_("straight runs"),
    "drift": N_("drift runs"),
    "course": N_("course runs"),
    "cargo": N_("cargo runs"),
    "rings": N_("ring runs"),
    "distance": N_("distance runs"),
    "balance": N_("balance tests"),
    "load": N_("load tests"),
}
NAMES = (
    N_("time"), N_("time from go"), N_("mean speed"), N_("speed at the line"), N_("top speed"), N_("drift"),
    N_("path length"), N_("straightness"), N_("sideways"), N_("swing"), N_("time stuck"), N_("distance"),
    N_("coast time"), N_("slowing"), N_("drag, linear"), N_("drag, quadratic"), N_("ports"), N_("time in ports"),
    N_("rings"), N_("cargo"), N_("cargo rate"), N_("obstacle touches"), N_("weights"),
    N_("boat"), N_("version"), N_("power"), N_("blowers"), N_("fan setting"), N_("fan distance"), N_("wind direction"),
    N_("water depth"), N_("mass"), N_("material"),
)  # fmt: skip
"""What results and conditions are called in the column dictionary, for the catalogues."""
_STATUS: dict[Status, str] = {
    "valid": N_("valid"),
    "void": N_("void"),
    "did_not_finish": N_("did not finish"),
    "freed": N_("freed"),
}
_POWERS: dict[str, str] = {
    "breath": N_("breath"),
    "fan": N_("fan"),
    "wind": N_("wind"),
    "balloon": N_("balloon"),
    "hand": N_("hand"),
    "motor": N_("motor"),
}
_WITNESS = {"gate": "the gates", "camera": "the camera", "gate+camera": "gates and camera", "card": "the boat card"}

_OF_A_GATE = re.compile(r"gate (.+) (place|stamp)")

RATIO_DECIMALS = 5
"""A ratio without a unit is shown with this many decimals at most: more would tell nobody anything."""


def unit_words(unit: str) -> str:
    """A unit spoken fully: "metres per second"."""
    found = _UNITS.get(unit, unit)
    return _(found) if found else ""


def unit_sign(unit: str) -> str:
    """A unit as it stands behind a number; nothing for plain numbers."""
    return _SYMBOLS.get(unit, unit)


def name_of(result: str) -> str:
    """What a result or a condition is called, from the column dictionary."""
    return _(columns.COLUMNS[result].words)


def meaning_of(result: str) -> str:
    """What exactly was measured, from the column dictionary."""
    return columns.COLUMNS[result].meaning


def cause(source: str) -> str:
    """A source of doubt as a page names it: `gate first place` becomes "where the gate “first” stands"."""
    gate = _OF_A_GATE.fullmatch(source)
    if gate is None:
        return source
    return f"where the gate “{gate[1]}” stands" if gate[2] == "place" else f"the time stamp of the gate “{gate[1]}”"


def kind_of_run(kind: KindOfRun) -> str:
    """For example "drift run"."""
    return _(_KINDS[kind])


def kinds_of_run(kind: str) -> str:
    """Several of them at the head of a part: "Drift runs"."""
    many = runs_of_kind(kind)
    return many[0].upper() + many[1:]


def runs_of_kind(kind: str) -> str:
    """Several of them within a sentence: "drift runs"."""
    return _(_MANY[kind])


def status_of(status: Status) -> str:
    """For example "did not finish"."""
    return _(_STATUS[status])


def seen_by(witness: str) -> str:
    """Who saw it: the gates, the camera, both, or the boat card."""
    return _WITNESS.get(witness, witness)


def with_unit(text: str, unit: str) -> str:
    """`text` and the sign of `unit` with a space that does not break."""
    sign = unit_sign(unit)
    return f"{text}\u00a0{sign}" if sign else text


def value_and_doubt(quantity: Quantity) -> str:
    """For example "4.3120 ± 0.0024 s": rounded by its expanded uncertainty at 95 %."""
    return with_unit(_typeset(_rounded(quantity)), quantity.unit)


def _rounded(quantity: Quantity) -> str:
    """Rounded by its doubt; a plain number to `RATIO_DECIMALS` at most, its doubt never shown smaller than it is."""
    finest = 10**-RATIO_DECIMALS
    if quantity.unit == "1" and 0 < quantity.U < finest:
        return f"{quantity.value:.{RATIO_DECIMALS}f} ± {finest:.{RATIO_DECIMALS}f}"
    return plus_minus(quantity.value, quantity.U)


def _typeset(text: str) -> str:
    """A real minus sign, and no line break around ±."""
    return text.replace("-", "−").replace(" ± ", "\u00a0±\u00a0")


def said(result: Result) -> str:
    """A result with its doubt; "at least" in front of a lower bound."""
    text = value_and_doubt(result.quantity)
    return _("at least {value}").format(value=text) if result.at_least else text


def value_only(result: Result) -> str:
    """The value rounded to the place that its doubt allows, with its unit, without the doubt."""
    rounded = _typeset(_rounded(result.quantity).partition(" ± ")[0])
    text = with_unit(rounded, result.quantity.unit)
    return _("at least {value}").format(value=text) if result.at_least else text


def give_or_take(quantity: Quantity) -> str:
    """The expanded uncertainty alone, to two digits, with its unit."""
    return with_unit(_rounded(quantity).partition(" ± ")[2] or "0", quantity.unit)


def end_of(reason: EndReason, rules: Rules) -> str:
    """Why the run ended, as a sentence."""
    return {
        "finish": _("It ended when the bow reached the finish line."),
        "at_rest": _(
            "It ended when the boat came to rest: when it began to stay slower than {speed} mm/s for {time} s."
        ).format(speed=f"{rules.stop_speed_mm_per_s:g}", time=f"{rules.stop_for_s:g}"),
        "wall": _("It ended when the bow touched the wall."),
        "time_cap": _("It ended because the time was up ({time} s).").format(time=f"{rules.time_cap_s:g}"),
        "stopped_by_hand": _("It was ended by hand."),
        "recording_ended": _("The recording ended before the run did."),
    }[reason]


def lead(trial: Trial) -> str:
    """The main result of a run in a sentence or two."""
    if trial.status == "void":
        return "This run is void: it is kept and shown, but it does not count."
    if trial.status == "did_not_finish":
        return "The boat did not finish. That is a result too."
    main = _LEADS.get(trial.kind, ("time_s", "It took {}."))
    result = trial.results.get(main[0])
    if result is None:
        missing = trial.not_measured.get(main[0])
        return missing.reason if missing is not None else "There is no main result for this kind of run yet."
    doubt = f", give or take {give_or_take(result.quantity)}" if result.quantity.u > 0 else ""
    text = main[1].format(value_only(result) + doubt)
    speed = trial.results.get("speed_at_line_m_per_s")
    if trial.kind == "drift" and speed is not None:
        text += f" It crossed that line at {value_only(speed)}."
    return text


_LEADS: dict[KindOfRun, tuple[str, str]] = {
    "straight": ("time_s", "From the start line to the finish line it took {}."),
    "drift": ("drift_mm", "After the mark line, without power, it drifted {}."),
    "course": ("time_s", "The course took {}."),
    "rings": ("rings_count", "Rings reached: {}."),
    "cargo": ("cargo_count", "Pieces of cargo brought: {}."),
    "distance": ("distance_mm", "In its time it went {}."),
    "load": ("weights_count", "Weights carried before it sank: {}."),
    "balance": ("weights_count", "Weights carried before it tipped: {}."),
}
_CALLED = {"port": "called at", "ring": "reached", "obstacle": "touched"}


def visits_of(trial: Trial) -> str:
    """Where it called, in order, as a sentence; empty if nowhere. What is not sure says so."""
    told = []
    for visit in trial.visits:
        if visit.chance < 0.5:
            continue
        lasted_s = (visit.to_ns - visit.from_ns) / 1e9
        where = f"{_CALLED[visit.kind]} {visit.zone}" + (f" for {lasted_s:.1f} s" if visit.kind == "port" else "")
        told.append(where if visit.is_sure else f"perhaps {where}")
    return f"It {', then '.join(told)}." if told else ""


def main_result(kind: KindOfRun) -> str:
    """The name of the result by which runs of this kind are compared."""
    return _LEADS.get(kind, ("time_s", ""))[0]


_MORE = {
    "time_s": N_("took clearly longer than"),
    "drift_mm": N_("drifted clearly farther than"),
}


def more_is_better(result: str) -> bool:
    """Whether boats with more of a result are ahead."""
    return result not in ("time_s", "time_from_go_s")


def ahead(result: str) -> str:
    """What the boats that are ahead are, at the beginning of a sentence."""
    if result in ("drift_mm", "distance_mm"):
        return _("Farthest")
    return _("Fastest") if result == "time_s" else _("Ahead")


def clearly_more(result: str) -> str:
    """What a boat with more of a result did, for between two names."""
    return _(_MORE.get(result, N_("has clearly more than")))


def doubts_count(count: int) -> str:
    """For example "2 things to look at"."""
    return "nothing looked doubtful" if count == 0 else f"{count} thing{'s' if count > 1 else ''} to look at"


def power_of(conditions: Conditions) -> str:
    """How the boat was driven, in a few words."""
    parts: list[str] = [_("not noted") if conditions.power == "unknown" else _(_POWERS[conditions.power])]
    if conditions.fan_setting:
        parts.append(_("setting {which}").format(which=conditions.fan_setting))
    if conditions.fan_distance_mm is not None:
        parts.append(_("{mm} mm behind the start line").format(mm=f"{conditions.fan_distance_mm:g}"))
    if conditions.blowers_count is not None:
        parts.append(_("{n} blowing").format(n=conditions.blowers_count))
    return ", ".join(parts)


def doubt_alone(u: float, unit: str) -> str:
    """An uncertainty by itself, to two digits, with its unit; 0 where there is none."""
    return with_unit(f"{u:.{max(decimals_for(u), 0)}f}" if u > 0 else "0", unit)


def between(low: float, high: float, doubt: float, unit: str) -> str:
    """From one value to another, to the place of `doubt`'s second digit."""
    places = max(decimals_for(doubt), 0)
    return _("{low} to {high}").format(
        low=_typeset(f"{low:.{places}f}"), high=with_unit(_typeset(f"{high:.{places}f}"), unit)
    )


def draws(found: Drawn) -> str:
    """What measuring a run as it may truly have been, many times, says of one result."""
    return _("{count} draws have a standard deviation of {u}, and 95 of 100 of them lie from {span}").format(
        count=found.draws_count,
        u=doubt_alone(found.u, found.unit),
        span=between(found.low, found.high, found.u, found.unit),
    )


def to_the_place_of(value: float, doubt: float, unit: str) -> str:
    """A size without a sign, rounded to the place of `doubt`'s second digit, with its unit."""
    places = max(decimals_for(doubt), 0)
    shown = max(value, 10.0**-places)
    text = with_unit(f"{shown:.{places}f}", unit)
    return _("less than {value}").format(value=text) if shown > value else text


def true_value(value: float, measured: Quantity) -> str:
    """A true value, shown one place further than the doubt of what was measured, with its unit."""
    places = max(decimals_for(measured.U, 3), 0) if measured.u > 0 else 6
    return with_unit(_typeset(f"{value:.{places}f}"), measured.unit)


def moment(t_s: float, zero: str, along_m: float, speed_m_per_s: float) -> str:
    """Where and how fast the boat is at one moment, for the slider."""
    when = f"{abs(t_s):.2f} s {'after' if t_s >= 0 else 'before'} {zero}"
    where = f"{abs(along_m):.2f} m {'past' if along_m >= 0 else 'before'} the start line"
    return f"{when}: the bow is {where}, going {speed_m_per_s:.2f} m/s"
