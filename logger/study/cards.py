"""Cards for the lid of the rig's box: setting up, a lesson, what to do if something is wrong. One page each.

They are read from a metre by somebody whose hands are wet. A letter should be as high as a two-hundredth of the
distance (common practice, from memory): capitals of 5 mm are about 20 points. Black on white, so that grey printers
lose nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import CalibrationError
from logger.study.paper import HOLE_MARGIN_MM, MARGIN_MM, MM_PER_POINT, Paper, Sheet

TITLE_PT, STEP_PT, COMMAND_PT = 30.0, 22.0, 16.0
_NUMBER_MM, _GAP_MM, _LINE_RATIO = 13.0, 2.4, 1.3
_BANNER_MM = 16.0
_PLACE = "print cards"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do."""

    words: str
    command: str = ""
    """What to type, word for word; empty: nothing."""


@dataclass(frozen=True, slots=True)
class Card:
    """One page."""

    title: str
    steps: tuple[Step, ...]
    rule: str
    """What holds all the time, at the foot."""


CARDS = {
    "set-up": Card(
        "Set up",
        (
            Step("Tank level, floor dry. Supply high and dry. Test button of RCD or GFCI."),
            Step("Posts on their marks, 40 mm above the water to come."),
            Step("Plugs by colour: green START, blue FINISH, black emitters, red light."),
            Step("Camera over the middle. Tether tied."),
            Step("Water to the mark. Wipe up."),
            Step("Switch on. Wait a minute. Then type:", "boatrun check rig.toml --beams"),
            Step("A hand through each beam, as it asks."),
            Step("Fit to run: go. WRONG: do what stands behind ->"),
            Step("First run: the check boat."),
        ),
        "Water and mains never meet. Only 5 V at the tank. Dry hands for every plug.",
    ),
    "lesson": Card(
        "Lesson",
        (
            Step("An adult watches the water, all the time, and does nothing else."),
            Step("Nickname of the boat, never a child's:", 'boatrun record rig.toml --boat "Paper Swan" --times 3'),
            Step("Boat behind START. Key a. Lamp steady: HANDS OUT."),
            Step("It starts and ends by itself. Nobody touches it."),
            Step("Keys: g go, s stop, v void, f freed, d did not finish, k keep."),
            Step("Lamp: one short flash: clear the beam. Three flashes: look at the screen."),
            Step("Drops on the posts: wipe. Water on the floor: wipe."),
            Step("At the end: off by the button, then the plug. Empty the tank. Turn it over."),
        ),
        "No names, no faces. Straws: one child each, ten seconds, then a rest. Collect every piece of balloon.",
    ),
    "faults": Card(
        "If something is wrong",
        (
            Step("Look first. Dry hands. Switch off before you plug."),
            Step("Type this, and do what stands behind ->", "boatrun check rig.toml --beams"),
            Step("Beam does not clear: what is in it? Plug home? Posts face each other?"),
            Step("Beam misses straws: shade it, smaller hood, aim. Flickers: sun, drops, plug."),
            Step("No picture: plug of the camera in again, wait five seconds."),
            Step("Camera has moved: back to its marks, or calibrate anew."),
            Step("Power went: switch on. What was recorded is kept."),
            Step("No camera, or no gates: the other one measures alone, and says how well."),
        ),
        "Smell, heat, a tingle, something of the mains in the water: power off at the board, children away.",
    ),
}
"""Name of a card on the command line -> the card."""


def cards_sheet(names: Sequence[str], paper: Paper) -> bytes:
    """The PDF file with these cards, a page each.

    Raises:
        CalibrationError: there is no such card, or none is wanted.
    """
    unknown = [name for name in names if name not in CARDS]
    if unknown or not names:
        found = repr(unknown[0]) if unknown else "none"
        raise CalibrationError(_PLACE, [f"found {found}; wanted cards of {', '.join(CARDS)}; see --only"])
    sheet = Sheet(paper, title="Cards for the lid")
    for name in names:
        draw_card(sheet, CARDS[name])
        sheet.turn_page(f"boatrun, {name} card, {paper.name}. Local codes and the school's risk assessment come first.")
    return sheet.pdf()


def draw_card(sheet: Sheet, card: Card) -> float:
    """Draw it on the present page; how much room is left above the rule at the foot, mm (below 0: too little)."""
    paper, left = sheet.paper, HOLE_MARGIN_MM
    across = paper.width_mm - HOLE_MARGIN_MM - MARGIN_MM
    top = paper.height_mm - MARGIN_MM - _BANNER_MM
    sheet.banner(card.title, box_mm=(left, top, across, _BANNER_MM), size_pt=TITLE_PT)
    y_mm = top - 4 - 0.75 * STEP_PT * MM_PER_POINT
    for number, step in enumerate(card.steps, 1):
        sheet.text(str(number), at_mm=(left, y_mm), size_pt=STEP_PT, bold=True)
        y_mm = sheet.block(step.words, at_mm=(left + _NUMBER_MM, y_mm), width_mm=across - _NUMBER_MM, size_pt=STEP_PT)
        if step.command:
            y_mm = _command(sheet, step.command, left, y_mm, across)
        y_mm -= _GAP_MM
    foot = MARGIN_MM + 8
    lines = _lines(sheet, card.rule, across - 6)
    height = (len(lines) + 0.4) * _LINE_RATIO * STEP_PT * MM_PER_POINT
    sheet.box((left, foot, across, height), line_mm=1.0)
    at_mm = foot + height - 1.15 * STEP_PT * MM_PER_POINT
    for line in lines:
        sheet.text(line, at_mm=(left + 3, at_mm), size_pt=STEP_PT, bold=True)
        at_mm -= _LINE_RATIO * STEP_PT * MM_PER_POINT
    return y_mm + STEP_PT * MM_PER_POINT - (foot + height)


def _command(sheet: Sheet, command: str, left: float, y_mm: float, across: float) -> float:
    """What to type, in a frame of its own, as wide as the page; where the next base line is."""
    height = 1.9 * COMMAND_PT * MM_PER_POINT
    lower = y_mm + 0.55 * STEP_PT * MM_PER_POINT - height
    sheet.box((left, lower, across, height))
    at = (left + 2.5, lower + 0.6 * COMMAND_PT * MM_PER_POINT)
    sheet.text(command, at_mm=at, size_pt=COMMAND_PT, bold=True)
    return lower - 1.15 * STEP_PT * MM_PER_POINT


def _lines(sheet: Sheet, words: str, width_mm: float) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in words.split():
        longer = f"{line} {word}".strip()
        if line and sheet.width_mm(longer, size_pt=STEP_PT, bold=True) > width_mm:
            lines, line = [*lines, line], word
        else:
            line = longer
    return [*lines, line]
