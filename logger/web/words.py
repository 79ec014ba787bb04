"""Sentences of the pages that are put together in code; the others stand in the templates."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from logger.web.language import N_, SOURCE, _, language

STEPS = {
    "targets": (
        N_("Print the sheets"),
        N_("The lens board, marks for the rim, a grid: at true scale, with a bar to check it by."),
    ),
    "lens": (N_("Lens"), N_("Photographs of the printed board from all sides tell how the lens bends the picture.")),
    "plane": (N_("Water plane"), N_("Where the camera stands over the water: pixels become millimetres.")),
    "lines": (
        N_("Lines, beams, zones"),
        N_("Start, mark and finish lines, beams and zones, by a click in the picture or typed."),
    ),
    "light": (N_("Light sync"), N_("A blinking light tells how late the camera's pictures are stamped.")),
    "cards": (
        N_("Boats' cards"),
        N_("Length, freeboard, mass and tag of every boat, each with the doubt of its reading."),
    ),
    "gates": (N_("Check boat"), N_("A boat pulled through the beams tells where they really are.")),
    "check": (
        N_("Check and keep a view"),
        N_("Every part is tried, and a picture is kept that tells later if the camera moved."),
    ),
}
"""Name of a step -> its title and what it is for."""
STANDINGS = {
    "done": N_("Done"),
    "old": N_("Old"),
    "to do": N_("To do"),
    "not needed": N_("Not needed"),
    "next": N_("Next"),
}
POINTING = (
    N_("What is pointed at"), N_("What"), N_("start line"), N_("mark line"), N_("finish line"), N_("beam of a gate"),
    N_("port"), N_("obstacle"), N_("ring"), N_("Name"), N_("Where does it lie?"), N_("at the water"),
    N_("on the floor, under the water"), N_("above the water"), N_("Height above the water, mm"),
    N_("Take the last point away"), N_("The picture. Arrow keys move the cross, Enter sets a point."),
    N_("The camera's picture"), N_("Give it a name first."), N_("Give its height above the water in mm first."),
    N_("{name}: point {number} at column {u}, row {v}."), N_("{name}: moved to column {u}, row {v}."),
    N_("Taken away; points left: {number}."), N_("Copied."), N_("No point yet."), N_("Move the last point"),
    N_("Left by a pixel"), N_("Right by a pixel"), N_("Up by a pixel"), N_("Down by a pixel"), N_("The table"),
)  # fmt: skip
"""What stands beside a picture that is pointed at (logger/study/point_page.py)."""
_SAID = {
    "in": N_("The PIN was right: you may change things now."),
    "out": N_("You only look on now."),
    "plane": N_("The rig uses the new water plane. Keep a view of it at the end (last step)."),
    "lines": N_("Entered into the rig file; the file as it was is kept beside it."),
    "light": N_("The camera's delay is entered into the rig file."),
    "gates": N_("The beams' places are entered into the rig file; the file as it was is kept beside it."),
    "card": N_("The card is written."),
    "team": N_("It is noted in the lesson."),
    "decided": N_("It is decided so now."),
    "copied": N_("The results are on the stick; it may be pulled out."),
    "stored": N_("It is done."),
}


def step_title(name: str) -> str:
    """What a step is called on the pages."""
    return _(STEPS[name][0]) if name in STEPS else name


def step_lead(name: str) -> str:
    """What a step is for."""
    return _(STEPS[name][1]) if name in STEPS else ""


def standing(name: str) -> str:
    """Where a step stands, in a word."""
    return _(STANDINGS[name]) if name in STANDINGS else name


def said(request: Request) -> str:
    """What has just been done, by the word in the address."""
    said = _SAID.get(request.query_params.get("said", ""))
    return "" if said is None else _(said)


@dataclass(frozen=True, slots=True)
class Told:
    """A sentence that did not come from a page: what was refused, found or doubted."""

    words: str
    is_english: bool
    """It stands in English on a page of another language."""

    @classmethod
    def of(cls, sentence: str) -> Told:
        """The sentence, in the page's language if its catalogue has it."""
        words = _(sentence)
        return cls(words, language() != SOURCE and words == sentence)
