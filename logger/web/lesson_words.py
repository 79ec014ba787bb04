"""What the things of a lesson are called on the pages."""

from __future__ import annotations

from collections.abc import Mapping

from logger.config import BY_HAND
from logger.lesson.board import Board, Who
from logger.web.language import N_, _

STATES: Mapping[str, tuple[str, str]] = {
    "closed": (N_("No lesson yet"), N_("The teacher opens one.")),
    "called": (N_("Put the boat in"), N_("Behind the start line, then hands out.")),
    "ready": (N_("A moment"), N_("The rig is being made ready.")),
    "armed": (N_("Hands out"), N_("Nobody touches the water.")),
    "released": (N_("Go"), N_("The boat may start.")),
    "running": (N_("Under way"), N_("Hands out of the water.")),
    "drifting": (N_("Drifting"), N_("No more push. Hands out of the water.")),
    "closing": (N_("A moment"), N_("The run is being kept.")),
    "deciding": (N_("Result"), N_("Fetch the boat.")),
    "done": (N_("All runs done"), N_("Well sailed, everybody.")),
    "paused": (N_("Pause"), N_("It goes on where it stopped.")),
    "over": (N_("The lesson is over"), N_("Thank you, everybody.")),
}
"""State of a lesson -> what it is called, and what is to be done."""
ON_THE_WORD = N_("Hold the boat. Wait for the word.")
BY_HAND_HINTS: Mapping[str, str] = {
    "called": N_("One weight after the other, the same way for every boat. Dry hands."),
    "deciding": N_("Count the weights, then the next boat."),
}
KINDS: Mapping[str, tuple[str, str]] = {
    "straight": (N_("Straight run"), N_("From the start line to the finish line: how long, how fast?")),
    "drift": (N_("Push, then drift"), N_("Power until the mark line; how far does it drift after that?")),
    "course": (N_("Course with ports"), N_("Into every port and round what is in the way, against time.")),
    "cargo": (N_("Cargo"), N_("How much is carried to port before the time is up?")),
    "rings": (N_("Rings"), N_("How many rings are reached before the time is up?")),
    "distance": (N_("Distance in a fixed time"), N_("How far does it get while the power is on?")),
    "load": (N_("Load, by hand"), N_("How many weights does it carry before it sinks?")),
    "balance": (N_("Balance, by hand"), N_("How many weights on one side before it tips?")),
}
"""Kind of run -> what it is called, and its question."""
POWERS: Mapping[str, str] = {
    "breath": N_("breath"), "fan": N_("fan"), "wind": N_("wind"), "balloon": N_("balloon"),
    "hand": N_("push by hand"), "motor": N_("motor"), "unknown": N_("something else"),
}  # fmt: skip
ORDERS: Mapping[str, str] = {
    "balanced": N_("balanced: every team about as often early as late"),
    "fixed": N_("as listed, in every round"),
    "random": N_("drawn anew in every round"),
}
BEGINS: Mapping[str, str] = {
    "hands_off": N_("when the boat reaches the start line"),
    "on_go": N_("on the word GO"),
}
STATUSES: Mapping[str, str] = {
    "valid": N_("kept"), "void": N_("void"), "did_not_finish": N_("did not finish"), "freed": N_("freed with help"),
    "undecided": N_("not decided yet"), "no_run": N_("no run"), "under_way": N_("under way"),
}  # fmt: skip
SIGNS: Mapping[str, str] = {
    "valid": "✓", "void": "✗", "did_not_finish": "–", "freed": "↺", "undecided": "?", "no_run": "·", "under_way": "…",
}  # fmt: skip
ENDS: Mapping[str, str] = {
    "finish": N_("over the finish line"), "at_rest": N_("came to rest"), "wall": N_("touched the wall"),
    "time_cap": N_("the time was up"), "stopped_by_hand": N_("stopped by hand"),
    "recording_ended": N_("the recording ended"), "called_off": N_("called off before it began"),
    "early_start": N_("started before the word"), "cut_short": N_("cut short by a power failure"),
    "broken_off": N_("broken off: the rig failed"), "entered_by_hand": N_("entered by hand"), "": "",
}  # fmt: skip
REASONS: Mapping[str, str] = {
    "hand": N_("hand in the beam"), "touched": N_("boat was touched"), "gust": N_("gust or draught"),
    "early": N_("early start"), "rig": N_("beam or camera knocked"), "boat": N_("boat came apart"),
    "power": N_("power or rig failed"), "other": N_("another reason"),
}  # fmt: skip
"""Reasons for which a run is void, chosen by a digit from 1."""
FIGURES: Mapping[str, str] = {
    "time_s": N_("from line to line"), "time_from_go_s": N_("from GO to the finish"),
    "speed_mean_m_per_s": N_("mean speed"), "drift_mm": N_("drift"),
    "speed_at_line_m_per_s": N_("speed at the line"), "ports_count": N_("ports reached"),
    "obstacle_touches_count": N_("obstacles touched"), "port_dwell_s": N_("time in port"),
    "rings_count": N_("rings reached"), "cargo_count": N_("pieces of cargo"), "cargo_per_min": N_("pieces a minute"),
    "distance_mm": N_("distance"), "path_mm": N_("way"),
    "weights_count": N_("weights carried"),
}  # fmt: skip
COUNTS: Mapping[str, str] = {
    "cargo": N_("pieces of cargo"), "rings": N_("rings"), "weights": N_("weights"), "touches": N_("touches"),
}  # fmt: skip
WATERS: Mapping[str, str] = {
    "calm": N_("The water is calm."), "moving": N_("The water still moves."),
    "unknown": N_("Nobody watches the water."),
}  # fmt: skip
_NOTICES: Mapping[str, str] = {
    "early start": N_("early start"), "arming refused": N_("not armed"), "freed": N_("somebody helps the boat"),
    "disk slow": N_("the disk is slow"), "stuck": N_("stuck: it hardly moves"),
}  # fmt: skip


SETTINGS: Mapping[str, tuple[str, str]] = {
    "mass_g": (N_("mass"), "g"), "cargo_g": (N_("cargo"), "g"), "blowers_count": (N_("blowers"), ""),
    "fan_distance_mm": (N_("fan's distance"), "mm"), "wind_direction_deg": (N_("wind direction"), "°"),
    "power": (N_("driven by"), ""), "fan_setting": (N_("setting of the fan"), ""), "boat": (N_("boat"), ""),
    "version": (N_("version"), ""), "material": (N_("material"), ""), "water_depth_mm": (N_("water depth"), "mm"),
}  # fmt: skip
"""What an experiment may change -> what it is called, and its unit."""


def set_for(who: Who) -> str:
    """What an experiment sets for a run: "mass 50 g"."""
    name, unit = SETTINGS[who.sets]
    value = _(POWERS[who.to]) if who.sets == "power" and who.to in POWERS else who.to
    return f"{_(name)} {value}\u00a0{unit}".rstrip()


def state_title(board: Board) -> str:
    """Where the lesson stands, in two or three words."""
    return _(STATES[board.state][0])


def state_hint(board: Board, begin: str = "hands_off") -> str:
    """What is to be done now, for everybody at the water."""
    blocked = [name for name, how in board.beams.items() if how == "blocked"]
    if board.kind in BY_HAND and board.state in BY_HAND_HINTS:
        return _(BY_HAND_HINTS[board.state])
    if board.state == "called" and blocked:
        return _("Something is in the beam: %s. Clear it.") % ", ".join(sorted(blocked))
    if board.state == "called" and board.water == "moving":
        return _("The water still moves.")
    if board.state == "armed" and begin == "on_go":
        return _(ON_THE_WORD)
    return _(STATES[board.state][1])


def named(words: Mapping[str, str], name: str) -> str:
    """The word for `name`; itself if there is none."""
    found = words.get(name, name)
    return _(found) if found else ""


def notice(sentence: str) -> str:
    """What was noticed, in the page's language where there are words of ours for it."""
    head, colon, detail = sentence.partition(": ")
    if head not in _NOTICES:
        return sentence
    return _(_NOTICES[head]) + (f" ({detail})" if colon and head not in ("stuck", "freed") else "")


def mark_of(board: Board) -> str:
    """What a person saw who pressed a key: it tells a second tap from a second decision."""
    return f"{board.state}.{board.since_ns}.{board.run_id}"
