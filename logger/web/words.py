"""Sentences of the pages that are put together in code; the others stand in the templates."""

from __future__ import annotations

from starlette.requests import Request

STEPS = {
    "targets": (
        "Print the sheets",
        "The lens board, marks for the rim, a grid: at true scale, with a bar to check it by.",
    ),
    "lens": ("Lens", "Photographs of the printed board from all sides tell how the lens bends the picture."),
    "plane": ("Water plane", "Where the camera stands over the water: pixels become millimetres."),
    "lines": (
        "Lines, beams, zones",
        "Start, mark and finish lines, beams and zones, by a click in the picture or typed.",
    ),
    "light": ("Light sync", "A blinking light tells how late the camera's pictures are stamped."),
    "cards": ("Boats' cards", "Length, freeboard, mass and tag of every boat, each with the doubt of its reading."),
    "gates": ("Check boat", "A boat pulled through the beams tells where they really are."),
    "check": (
        "Check and keep a view",
        "Every part is tried, and a picture is kept that tells later if the camera moved.",
    ),
}
"""Name of a step -> its title and what it is for."""
STANDINGS = {"done": "Done", "old": "Old", "to do": "To do", "not needed": "Not needed", "next": "Next"}
_SAID = {
    "in": "The PIN was right: you may change things now.",
    "out": "You only look on now.",
    "plane": "The rig uses the new water plane. Keep a view of it at the end (last step).",
    "lines": "Entered into the rig file; the file as it was is kept beside it.",
    "light": "The camera's delay is entered into the rig file.",
    "gates": "The beams' places are entered into the rig file; the file as it was is kept beside it.",
    "card": "The card is written.",
}


def step_title(name: str) -> str:
    """What a step is called on the pages."""
    return STEPS[name][0] if name in STEPS else name


def step_lead(name: str) -> str:
    """What a step is for."""
    return STEPS[name][1] if name in STEPS else ""


def standing(name: str) -> str:
    """Where a step stands, in a word."""
    return STANDINGS.get(name, name)


def said(request: Request) -> str:
    """What has just been done, by the word in the address."""
    return _SAID.get(request.query_params.get("said", ""), "")
