"""Say where camera and beams go, before anything is drilled: from lens and tank to heights, pixels and exposure.

The lens's angles stand in the camera's data sheet; where it tells one angle only, that is mostly the one from corner to
corner (--diagonal-deg). Nothing is measured or written. Hang it so, look at a picture, and mend.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from logger.errors import InputError

if TYPE_CHECKING:
    from calibration.placing import Camera, Site

SLOW_MM_PER_S = 100.0
"""A lazy boat."""


def _pair(kind: Callable[[str], float]) -> Callable[[str], tuple[float, float]]:
    def read(text: str) -> tuple[float, float]:
        try:
            first, second = (kind(part) for part in text.lower().replace("×", "x").split("x"))
        except ValueError:
            raise argparse.ArgumentTypeError(f"{text!r}; two numbers are wanted, such as 1800x900") from None
        return first, second

    return read


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    add = parser.add_argument
    add("--tank-mm", type=_pair(float), required=True, metavar="LxW", help="inner length and width at the waterline")
    angles = parser.add_mutually_exclusive_group(required=True)
    angles.add_argument("--lens-deg", type=_pair(float), metavar="AxU", help="full angles across and upright")
    angles.add_argument("--diagonal-deg", type=float, metavar="D", help="full angle from corner to corner")
    add("--picture-px", type=_pair(int), default=(1280, 720), metavar="WxH", help="default: 1280x720")
    add("--speed-mm-per-s", type=float, metavar="V", help="of the fastest boat (default: 1250)")
    add("--tall-mm", type=float, metavar="H", help="the highest sail above the water (default: 100)")
    add("--boat-mm", type=float, metavar="L", help="length of the longest boat (default: 200)")
    add("--straw-mm", type=float, metavar="H", help="the flag straw's top above the water; 0: none (default: 60)")
    add("--deck-mm", type=float, metavar="H", help="the lowest deck above the water (default: 20)")
    add("--tag-mm", type=float, default=40.0, metavar="S", help="side of the tags' black square (default: 40)")


def run(arguments: argparse.Namespace) -> int:
    """Print the plan."""
    from calibration.placing import FASTEST_MM_PER_S

    site, camera = _site(arguments), _camera(arguments)
    speed = arguments.speed_mm_per_s or FASTEST_MM_PER_S
    _check({"--speed-mm-per-s": speed, "--tag-mm": arguments.tag_mm}, least=0.0, most=1e5)
    for line in _lines(site, camera, speed_mm_per_s=speed, tag_mm=arguments.tag_mm):
        print(line)
    return 0


def _site(arguments: argparse.Namespace) -> Site:
    from calibration.placing import Site

    length, width = arguments.tank_mm
    _check({"--tank-mm": min(length, width)}, least=99.0, most=1e5)
    named = {"tall_mm": arguments.tall_mm, "boat_mm": arguments.boat_mm}
    named |= {"straw_mm": arguments.straw_mm, "deck_mm": arguments.deck_mm}
    given = {name: value for name, value in named.items() if value is not None}
    _check({f"--{name.replace('_', '-')}": value for name, value in given.items()}, least=-1e-9, most=5000.0)
    return Site(length_mm=max(length, width), width_mm=min(length, width), **given)


def _camera(arguments: argparse.Namespace) -> Camera:
    from calibration.placing import Camera

    width, height = arguments.picture_px
    _check({"--picture-px": min(width, height)}, least=99, most=20_000)
    if arguments.diagonal_deg is not None:
        _check({"--diagonal-deg": arguments.diagonal_deg}, least=10.0, most=160.0)
        return Camera.by_diagonal(arguments.diagonal_deg, width_px=width, height_px=height)
    across, upright = arguments.lens_deg
    _check({"--lens-deg": min(across, upright)}, least=10.0, most=160.0)
    _check({"--lens-deg": max(across, upright)}, least=10.0, most=160.0)
    return Camera(across, upright, width, height)


def _check(given: dict[str, float], *, least: float, most: float) -> None:
    for name, value in given.items():
        if not least < value <= most:
            raise InputError(
                f"plan: {name}: found {value:g}; more than {max(least, 0):g} and at most {most:g} is wanted"
            )


def _lines(site: Site, camera: Camera, *, speed_mm_per_s: float, tag_mm: float) -> Iterator[str]:
    from calibration import placing

    above = placing.height_mm(site, camera)
    beams = placing.gates(site)
    plain, tagged = placing.exposure_s(speed_mm_per_s), placing.exposure_s(speed_mm_per_s, tag_mm=tag_mm)
    yield (
        f"tank      {site.length_mm:.0f} × {site.width_mm:.0f} mm; lens {camera.across_deg:.0f}° × "
        f"{camera.upright_deg:.0f}°, {camera.width_px} × {camera.height_px} pixels"
    )
    yield f"camera    {above} above the water, over its middle, looking straight down"
    yield f"picture   a pixel shows {placing.mm_per_px(camera, above.value):.2f} mm of water"
    yield (
        f"exposure  {_shutter(plain)} or shorter: a boat at {speed_mm_per_s:g} mm/s smears "
        f"{placing.blur_mm(speed_mm_per_s, plain):.1f} mm; for tags of {tag_mm:g} mm {_shutter(tagged)}"
    )
    yield "light     so short an exposure sees lamps on the mains flicker; daylight or lamps on direct current do not"
    yield f"beams     {beams.height_mm:.0f} mm above still water; start {beams.start_mm:.0f} mm from the wall behind it"
    if beams.distance is not None:
        worth = 100 * max(placing.speed_ratio(beams.distance, v) for v in (SLOW_MM_PER_S, speed_mm_per_s))
        yield f"          {beams.distance} from beam to beam, by steel tape: mean speeds are good to {worth:.1f} %"
    for caution in placing.cautions(site, camera, tag_mm=tag_mm):
        yield f"!         {caution}"


def _shutter(exposure_s: float) -> str:
    return f"{1000 * exposure_s:.1f} ms (1/{1 / exposure_s:.0f} s)"
