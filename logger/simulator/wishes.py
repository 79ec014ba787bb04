"""What a caller may fix in a simulated world instead of leaving it to chance."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal

from logger.errors import InputError
from logger.simulator.hull import Shape


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a caller may fix instead of leaving it to chance; None: drawn."""

    tank_seed: int | None = None
    """The seed of tank, lines, beams, camera and lamp: many boats in one tank. Fix the sizes below as well then."""
    tank_back_mm: float | None = None
    """From the start line to the wall behind it."""
    shape: Shape | None = None
    paint: str | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    freeboard_mm: float | None = None
    mass_g: float | None = None
    flare: float | None = None
    """Excess of the deck over the waterline, as a fraction of the size."""
    tank_length_mm: float | None = None
    tank_width_mm: float | None = None
    water_depth_mm: float | None = None
    floor: str | None = None
    floor_pattern: str | None = None
    """plain, tiles or grid."""
    camera_height_mm: float | None = None
    tilt_deg: float | None = None
    k1: float | None = None
    """First radial distortion of the lens."""
    speed_mm_per_s: float | None = None
    """The speed the thrust would reach in the end."""
    wall_contact: bool | None = None
    at_wall: bool = False
    """True: a drifting boat reaches the end wall, does not bounce, and stays there."""
    enters_s: float | None = None
    """When a hand has put the boat into the water, in seconds of the recording; None: it is there from the first."""
    wait_s: float = 0.0
    """How much longer than usual it stands between arming and go."""
    rest_s: float = 0.0
    """How much longer than usual the recording goes on, the boat at rest, without any draught."""
    touch: bool = False
    """True: somebody prods or nudges the boat once in the middle of its run."""
    exposure_ns: int | None = None
    line_ns: int | None = None
    delay_ns: int | None = None
    """How late the camera's stamps are."""
    noise_dn: float | None = None
    """Standard deviation of the noise at mid grey, of 255."""
    jpeg_quality: int | None = None
    """As the encoder counts it, of 100."""
    shade: float | None = None
    """How dark the boat's shadow is, 0 to 1."""
    sun: bool | None = None
    """Whether the light is the sun's: sharp, dark shadows."""
    plain_deck: bool = False
    """True: one even colour on deck."""
    tag: Literal["square", "disc"] | None = None
    """What is stuck on the deck; None: nothing."""
    tag_number: int | None = None
    """Which square of its family."""
    tag_size_mm: float | None = None
    """Side of the black square, diameter of the black disc."""
    tag_height_mm: float | None = None
    """Of the printed face above the water."""
    tag_left_mm: float | None = None
    """How far left of the boat's middle line it sits."""
    tag_turn_deg: float | None = None
    """How far it is turned, anticlockwise from above."""
    tag_family: str | None = None
    """Which predefined dictionary of cv2.aruco the square is from; None: `TAG_FAMILY` in tag.py."""
    rig_errors: bool = True
    """False: the rig file and the boat card say the exact truth."""
    camera_errors: bool = False
    """True: the camera file is off within the uncertainties it states."""
    frame_rate_hz: float = 30.0
    gates: bool = True


def wishes(asked: dict[str, Any]) -> Wishes:
    """The wishes of the keyword arguments `asked`. InputError names one that is not known."""
    known = {field.name for field in fields(Wishes)}
    for name in asked:
        if name not in known:
            raise InputError(f"simulate: found the option {name}; wanted one of {', '.join(sorted(known))}")
    return Wishes(**asked)


def wished(wish: float | None, drawn: float) -> float:
    """The wish, or what was drawn. The draw always happens, so that a wish does not move the other draws."""
    return drawn if wish is None else wish
