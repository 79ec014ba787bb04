"""Every mount by its name: how it is made, how many a rig needs, what for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from hardware.draw import gate_mounts, other_mounts
from hardware.draw.shapes import Solid


@dataclass(frozen=True, slots=True)
class Mount:
    """One thing to print."""

    make: Callable[[], Solid]
    count: int
    """For a rig with two gates and a camera."""
    words: str


MOUNTS: Mapping[str, Mount] = {
    "rim_clamp": Mount(gate_mounts.rim_clamp, 5, "grips a rim of up to 30 mm and holds a rod of 8 mm"),
    "head_led": Mount(partial(gate_mounts.beam_head, "led"), 2, "infrared emitter; also the laser's receiver"),
    "head_receiver": Mount(partial(gate_mounts.beam_head, "receiver"), 2, "38 kHz receiver"),
    "head_laser": Mount(partial(gate_mounts.beam_head, "laser"), 0, "laser module of 6 mm, in place of an emitter"),
    "head_lid": Mount(gate_mounts.head_lid, 4, "closes a head"),
    "light_arm": Mount(gate_mounts.light_arm, 1, "holds the LED that the camera sees"),
    "pole_cross": Mount(other_mounts.pole_cross, 1, "joins the camera's stand and its arm, 25 mm each"),
    "camera_plate": Mount(other_mounts.camera_plate, 1, "camera under the arm, with a slot for the tether"),
    "board_corner": Mount(other_mounts.board_corner, 4, "corners of the floating board of 5 mm"),
    "straw_holder": Mount(other_mounts.straw_holder, 8, "flag straw of 6 mm on a deck; one for each boat"),
    "tag_plate": Mount(other_mounts.tag_plate, 8, "keeps a tag of 40 mm flat; one for each boat with a soft deck"),
}
