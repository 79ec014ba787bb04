"""What is printed, laminated and stuck on a deck so that the camera knows the boat: a square with cells, or a disc.

Both are printed on white paper. *Square*: the cells of a predefined dictionary of OpenCV, one black cell all round,
then a white margin one cell wide; its top row, as `cv2.aruco.generateImageMarker` draws it, lies toward the bow.
*Disc*: a black disc of diameter `size_mm` with a white dot of 0.3 of that diameter in its middle, on a round paper of
1.5 times the diameter.

Tag frame: (forward, left) from the tag's middle, mm. It lies at `ahead_mm` and `left_mm` in the boat's frame, turned by
`turn_rad` anticlockwise, at `height_mm` above the water, and leans with the boat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from logger.errors import InputError
from logger.simulator.hull import Hull
from logger.simulator.sail import Sail
from logger.simulator.wishes import Wishes, wished

Floats = NDArray[np.float64]
TagKind: TypeAlias = Literal["square", "disc"]
TAG_FAMILY = "DICT_APRILTAG_16h5"
"""The predefined dictionary of cv2.aruco that squares are taken from, unless another is wished for."""
DOT = 0.3
"""White dot in the middle of a disc, over its diameter."""
PAPER = 1.5
"""Round paper under a disc, over its diameter."""
LEFT_MM, TURN_DEG, PLATE_MM = 1.7, 1.5, 15.0
"""A tag sits this far aside, is turned by this much, and stands on a plate of up to this thickness."""


@dataclass(frozen=True, slots=True)
class Print:
    """How the sheet looks: never quite black, quite white or quite sharp; and how it shines."""

    ink: float
    """Light that the black gives back, of 1."""
    paper: float
    """Light that the white gives back, of 1."""
    bleed_mm: float
    """Standard deviation of the blur of the printed edge."""
    waviness: float
    """Slope of the laminated sheet's waves; root mean square."""
    wave_mm: float
    """Their length."""
    wave_phases_rad: tuple[float, float, float, float]
    gloss_width: float
    """Slopes within this mirror a lamp into the camera: the lamp's size and the film's roughness."""
    lamps: tuple[tuple[float, float, float, float], ...]
    """(x, y, z in mm from the middle of the water, brightness where 1 saturates) of what the film may mirror."""


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag as it truly sits."""

    kind: TagKind
    number: int | None
    """Which square of its family; a disc has none."""
    family: str
    size_mm: float
    """Side of the black square, diameter of the black disc."""
    height_mm: float
    """Of the printed face above the water at rest."""
    ahead_mm: float
    """Of the tag's middle before the waterline centroid."""
    left_mm: float
    turn_rad: float
    bow_ahead_mm: float
    """From the tag's middle forward to the foremost waterline point, along the boat's middle line."""
    sheet: Print

    def corners_mm(self) -> Floats:
        """(4, 3) of the black square, or of the square about the disc, boat frame.

        In the order front left, front right, back right, back left, which is that of `cv2.aruco`.
        """
        half = self.size_mm / 2
        return self.in_boat(np.array([(half, half), (half, -half), (-half, -half), (-half, half)]))

    def in_boat(self, points_mm: Floats, *, z_mm: float | None = None) -> Floats:
        """(N, 3) boat frame of points (N, 2) of the tag's frame; at `z_mm` instead of the printed face."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        forward, left = points_mm.T
        z = np.full(len(points_mm), self.height_mm if z_mm is None else z_mm)
        return np.column_stack([self.ahead_mm + c * forward - s * left, self.left_mm + s * forward + c * left, z])

    def paper_mm(self) -> Floats:
        """(N, 2) outline of the white paper, tag frame."""
        if self.kind == "disc":
            return _circle(PAPER * self.size_mm / 2, 72)
        half = self.size_mm / 2 * (1 + 2 / len(cells(self.family, self.number or 0)))
        along = np.linspace(-half, half, 9)[:-1]
        ends = np.full(8, half)
        sides = [(ends, along), (-along, ends), (-ends, -along), (along, -ends)]
        return np.vstack([np.column_stack(side) for side in sides])

    def ink_mm(self) -> Floats:
        """(N, 2) all that is black as one closed line, tag frame: from the middle round each piece and back.

        The ways there and back cancel in an area; what a disc's dot leaves out is gone round the other way.
        """
        if self.kind == "disc":
            pieces = [_circle(self.size_mm / 2, 72), _circle(DOT * self.size_mm / 2, 48)[::-1]]
        else:
            pieces = _black_cells(self.family, self.number or 0, self.size_mm)
        middle = np.zeros((1, 2))
        return np.vstack([part for piece in pieces for part in (middle, piece, piece[:1])])

    def sheet_slope(self, points_mm: Floats) -> Floats:
        """(N, 2) slope of the wavy sheet at points (N, 2), tag frame."""
        sheet = self.sheet
        k = 2 * np.pi / sheet.wave_mm
        a, b, c, d = sheet.wave_phases_rad
        forward, left = points_mm.T
        first, second = np.sin(k * forward + a) + np.sin(0.7 * k * left + b), np.sin(k * left + c)
        third = np.sin(0.6 * k * (forward + left) + d)
        return sheet.waviness * np.column_stack([first, second + third])


def _circle(radius_mm: float, count: int) -> Floats:
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    # a polygon inside a circle covers less: as much larger as gives it the circle's area
    radius = radius_mm * math.sqrt(2 * math.pi / (count * math.sin(2 * math.pi / count)))
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


@cache
def cells(family: str, number: int) -> NDArray[np.bool_]:
    """(n, n) True where black, border and all, rows from the bow backward, columns from left to right.

    Raises:
        InputError: no such family, or no such number in it.
    """
    dictionary = _dictionary(family)
    if not 0 <= number < len(dictionary.bytesList):
        most = len(dictionary.bytesList) - 1
        raise InputError(f"simulate: found tag_number {number}; {family} has 0 to {most}; choose one of these")
    side = dictionary.markerSize + 2
    black = cv2.aruco.generateImageMarker(dictionary, number, side) < 128
    black.setflags(write=False)
    return np.asarray(black, np.bool_)


@cache
def _dictionary(family: str) -> cv2.aruco.Dictionary:
    if not family.startswith("DICT_") or not hasattr(cv2.aruco, family):
        raise InputError(f"simulate: found tag_family {family!r}; wanted the name of a dictionary, like {TAG_FAMILY}")
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, family))


def _black_cells(family: str, number: int, size_mm: float) -> list[Floats]:
    """One outline (4, 2) for each black cell, all gone round the same way."""
    black = cells(family, number)
    step = size_mm / len(black)
    square = np.array([(0, 0), (0, -1), (-1, -1), (-1, 0)]) * step
    return [square + size_mm / 2 - np.array([row, column]) * step for row, column in np.argwhere(black)]


def draw_tag(rng: np.random.Generator, hull: Hull, sail: Sail | None, asked: Wishes, *, shines: float) -> Tag | None:
    """The tag that was wished for, its size to suit the hull, where it keeps clear of a mast if it can; or none.

    Args:
        rng: what it is drawn from.
        hull: what it sits on.
        sail: what it keeps clear of.
        asked: the fields that begin with `tag`.
        shines: brightness of the lamps in its film, where 1 saturates.

    Raises:
        InputError: another kind than square or disc; a family or number that does not exist.
    """
    if asked.tag is None:
        return None
    if asked.tag not in ("square", "disc"):
        raise InputError(f"simulate: found tag {asked.tag!r}; wanted square or disc")
    square = asked.tag == "square"
    width = float(np.ptp(hull.deck_mm[:, 1]))
    share = rng.uniform(0.45, 0.7)
    drawn = np.clip(share * width, 20, 60) if square else np.clip(0.6 * share * width, 15, 30)
    size = wished(asked.tag_size_mm, float(np.round(drawn)))
    family = asked.tag_family or TAG_FAMILY
    drawn_number = int(rng.integers(0, 30))  # the smallest of the predefined dictionaries holds 30
    number = (drawn_number if asked.tag_number is None else asked.tag_number) if square else None
    height = wished(asked.tag_height_mm, hull.freeboard_mm + rng.uniform(0, PLATE_MM))
    left = wished(asked.tag_left_mm, float(rng.uniform(-LEFT_MM, LEFT_MM)))
    # a card has no word for a tag's turn: an exact card needs a tag that is not turned
    turned = float(rng.uniform(-TURN_DEG, TURN_DEG)) * asked.rig_errors
    turn = math.radians(wished(asked.tag_turn_deg, turned))
    spread = size / 2 * (1 + 2 / len(cells(family, number or 0)) if square else PAPER)
    ahead = _place(rng, hull, sail, spread, square=square)
    sheet = draw_print(rng, shines)
    bow_ahead = float(hull.outline_mm[:, 0].max()) - ahead
    return Tag(asked.tag, number, family, size, height, ahead, left, turn, bow_ahead, sheet)


def _place(rng: np.random.Generator, hull: Hull, sail: Sail | None, spread_mm: float, *, square: bool) -> float:
    """Where along the deck there is room for a paper that reaches `spread_mm`, clear of the mast if it can be."""
    length = float(np.ptp(hull.outline_mm[:, 0]))
    ahead = np.linspace(-0.3, 0.3, 61) * length
    rim = spread_mm * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)]) if square else _circle(spread_mm, 16)
    deck = hull.deck_mm.astype(np.float32)
    room = np.array([min(cv2.pointPolygonTest(deck, (float(a + x), float(y)), True) for x, y in rim) for a in ahead])
    inside = room > 1.0
    clear = np.ones(len(ahead), bool) if sail is None else np.abs(ahead - sail.mast_x_mm) > spread_mm + 4.0
    chance = float(rng.random())
    for good in (inside & clear, inside):
        if good.any():
            return float(ahead[good][int(chance * good.sum())])
    return float(ahead[room.argmax()])


def draw_print(rng: np.random.Generator, shines: float) -> Print:
    """A sheet from some printer in some film, under some ceiling."""
    ink, paper, bleed = rng.uniform(0.03, 0.08), rng.uniform(0.7, 0.88), rng.uniform(0.1, 0.35)
    waviness, wave = rng.uniform(0.01, 0.05), rng.uniform(25, 70)
    phases = rng.uniform(0, 2 * np.pi, 4)
    width = rng.uniform(0.02, 0.06)
    lamps = tuple(
        (rng.uniform(-1400, 1400), rng.uniform(-900, 900), rng.uniform(1500, 2600), shines * rng.uniform(0.3, 1.0))
        for _ in range(4)
    )
    return Print(
        ink, paper, bleed, waviness, wave, (float(phases[0]), float(phases[1]), float(phases[2]), float(phases[3])),
        width, lamps if shines else (),
    )  # fmt: skip
