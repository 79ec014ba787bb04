"""What the scripts of the pages say: sentences with {places} that are filled in there, in the language in use."""

from __future__ import annotations

from typing import Any

from logger.study.bands import Band, Scale, bands
from logger.study.tongue import _
from logger.study.trend import Trend, whose


def track_words() -> dict[str, Any]:
    """Sentences of the page of one run."""
    return {
        "play": _("Play"),
        "pause": _("Stop"),
        "rest": _("at rest"),
        "axis": {
            "time": _("time (seconds)"),
            "along": _("how far past the start line ({unit})"),
            "across": _("how far to the left of the lane's middle ({unit})"),
            "speed": _("how fast along the lane ({unit})"),
            "map": _("the tank from above ({unit})"),
        },
        "after": _("{t} after {zero}."),
        "before": _("{t} before {zero}."),
        "past": {
            "plain": _("The bow is {far} past the start line."),
            "about": _("The bow is about {far} past the start line."),
        },
        "short_of": {
            "plain": _("The bow is {far} before the start line."),
            "about": _("The bow is about {far} before the start line."),
        },
        "going": {"plain": _("It goes {fast}."), "about": _("It goes about {fast}.")},
        "legend": _("One dot every {step} s. Dots far apart: fast. Dots close together: slow."),
        "ghost_ahead": _("Ghost {name} is {gap} ahead."),
        "ghost_behind": _("Ghost {name} is {gap} behind."),
        "ghost_gone": _("Ghost {name} has no track at this time."),
        "point": _("Point {name} on the graph; arrow keys move it"),
        "slope_ask": _("Set two points, A and B. Then you see the sum here."),
        "slope_same": _("The two points are too close in time. Move one of them."),
        "slope": _(
            "Distance: {d2} − {d1} = {distance} {length}. Time: {t2} − {t1} = {time} {second}. "
            "Speed: {distance} ÷ {time} = {speed} {per}."
        ),
        "slope_tool": _("The tool gets {mean}{doubt} from the same two points, without rounding first."),
        "slope_between": _("Between them its speed goes from {low} to {high}."),
        "ruler_ask": _("Move the dot, then set both ends of the ruler. You can also drag them."),
        "ruler": _("From end to end: {long} ({mm} mm)."),
        "ruler_end": _("End {n} of the ruler, at x {x}, y {y} mm; arrow keys move it"),
        "guess_good": _("You said {guess}. Well seen: there it had nearly its top speed. The most was at {best}."),
        "guess_other": _("You said {guess}. It was fastest at {best}. What did the dots do there?"),
        "fit_gap": _("The curve and the track are never more than {gap} apart."),
    }


def class_words() -> dict[str, Any]:
    """Sentences of the page of a class."""
    return {
        "line_end": _("End {n} of your line, at {x}, {y}; arrow keys move it"),
        "line_yours": _("Your line: for {step} more, {change}. At {at} it says {there}."),
        "line_tool": _("The computed line: for {step} more, {change} ± {doubt}."),
        "line_not_clear": _("It could also be flat: the dots are too few or too scattered to tell."),
        "line_few": _("There are too few dots for a computed line."),
        "line_gap": _("On the average your line is {yours} from a dot, the computed one {tool}."),
        "more": _("{value} more"),
        "less": _("{value} less"),
    }


def line_data(found: Trend | None) -> dict[str, Any]:
    """A computed line for the script that draws one by eye: the line, what it goes through, and why there is none."""
    fit = None if found is None else found.line
    if found is None or fit is None:
        cut = found is not None and found.floors_count > 0
        none = _("Some runs were cut short, so no computed line can be trusted.") if cut else ""
        return {"fit": None, "none": none, "through": ""}
    through = "" if found.through == "runs" else _("It goes through {those}.").format(those=whose(found))
    return {
        "fit": {"at": fit.intercept, "slope": fit.slope, "U": fit.U_slope, "clear": fit.is_clear, "n": fit.count},
        "none": "", "through": through,
    }  # fmt: skip


def file_words() -> dict[str, str]:
    """What tables to take away are called."""
    return {
        "xlsx": _("Workbook with all tables (xlsx)"),
        "csv": _("All tables (CSV, in a zip)"),
        "csv-comma": _("All tables (CSV with comma, in a zip)"),
        "track": _("Track (CSV)"),
        "track-comma": _("Track (CSV with comma)"),
        "runs": _("Runs"),
        "boats": _("Boats"),
        "tracks": _("Tracks"),
        "comma": _("CSV with comma"),
        "meaning": _("What every column means (for programs)"),
    }


def bands_data() -> list[dict[str, Any]]:
    """How the scripts write numbers for each age."""
    return [_band(one) for one in bands()]


def _band(one: Band) -> dict[str, Any]:
    return {
        "name": one.name, "time": _scale(one.time), "length": _scale(one.length), "speed": _scale(one.speed),
        "doubt": one.says_doubt,
    }  # fmt: skip


def _scale(scale: Scale) -> dict[str, Any]:
    return {"per": scale.per, "decimals": scale.decimals, "sign": scale.sign, "words": scale.words}
