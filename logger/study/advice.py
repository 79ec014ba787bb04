"""What would make a result better: for each cause of doubt, what a person can do about it."""

from __future__ import annotations

import re
from collections import defaultdict

from calibration.quantity import Quantity

_WORTH = 0.25
"""A cause with less than this share of the squared doubt is not worth the trouble."""

_CURES: tuple[tuple[str, str], ...] = (
    (r"gate .+ place", "pull a check boat through the gates (boatrun calibrate gates), or tape their places again"),
    (r"gate .+ stamp|clock of the gates", "use gates on the Pi's own pins, whose stamps are the kernel's"),
    (r"gate distance", "measure the distance from beam to beam again, the tape straight and along the water"),
    (r".+ line place", "measure the place of that line again, the tape straight and along the water"),
    (r"camera delay", "let a blinking light tell how late the camera is (boatrun calibrate light)"),
    (r"clock of the camera", "use a camera whose driver stamps its pictures"),
    (r"freeboard.*|flare of the sides.*", "measure the freeboard with a ruler and write it on the boat's card"),
    (r"boat length|length of boat in the beam", "measure the boat's length again and write it on its card"),
    (r"boat outline.*|hull outline.*", "write length and width on the boat's card; even light shows its edge better"),
    (r"stem of the boat in the beam", "set the beam lower, a few millimetres above the water"),
    (r"speed at the beam|change of speed in the beam", "let a camera see it pass, or set the gates farther apart"),
    (r"gathering way at the start|losing way at the mark", "move the start line on to where the boat is under way"),
    (r"gate and camera disagree", "find out which is right: boatrun check, then boatrun calibrate gates and light"),
    (r"end of the time by hand", "let a longer time run, or a sound end it"),
    (r"go signal stamp", "take the time from the start line instead of the go signal"),
    (r"positions near .*|noise of the .*|when .*|heading at the end",
     "more and even light, calm water, or the camera nearer"),
    (r"gusts too short to be seen", "nothing: so short a gust no camera of this speed shows"),
    (r"stops too sudden for the curve", "more pictures a second, and a computer that loses none"),
    (r"whether it reached .*|border of .*", "mark the place's border better, or make the place larger"),
    (r"scatter about the law of drag|which law of drag", "a longer coast on calm water"),
    (r"draught over the water", "a coast that ends at rest and not at a wall; close doors and windows"),
    (r"how smooth the way was", "more pictures a second, or the camera nearer"),
    (r"spread of the repeats of .*", "more runs"),
    (r"tag .*|waterline centroid.*", "stick the tag flat and straight, and give its height on the boat's card"),
    (r"the camera was moved.*|camera moved.*", "fix the camera where nobody knocks against it, and calibrate again"),
    (r".*(lens|water plane|plane|camera|pose|tilt|scale|calibration|refract|depth).*",
     "calibrate the water plane again with more marks near the run, and check it with a known length"),
)  # fmt: skip


def cure(source: str) -> str:
    """What to do about a cause of doubt, without a full stop; empty if nothing is known."""
    return next((words for pattern, words in _CURES if re.fullmatch(pattern, source, re.IGNORECASE)), "")


def squares_by_cause(quantity: Quantity) -> dict[str, float]:
    """Squared doubt per cause, in the unit's square; a cause that several runs have is one."""
    squares: dict[str, float] = defaultdict(float)
    for source, part in quantity.contributions.items():
        squares[source.name] += part * part
    return squares


def advice(quantity: Quantity) -> str:
    """What would make a result better, as a sentence; empty where no cause stands out or nothing can be done."""
    squares = squares_by_cause(quantity)
    total = sum(squares.values())
    if total <= 0:
        return ""
    largest = max(squares, key=lambda name: squares[name])
    share, told = squares[largest] / total, cure(largest)
    if share < _WORTH or not told or told.startswith("nothing"):
        return ""
    left = 100 * (1 - (1 - share) ** 0.5)
    return f"What would help most: {told}. Without that cause the doubt would be {left:.0f}\u00a0% smaller."
