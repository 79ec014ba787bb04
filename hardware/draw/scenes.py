"""Pictures of things in their place: a gate's post on the rim, the camera's stand, and the whole rig."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hardware.draw import other_mounts
from hardware.draw.gate_mounts import Sensor, beam_at_mm, clamp_rod_mm, head_lid, standing_clamp, standing_head
from hardware.draw.mounts import MOUNTS
from hardware.draw.picture import Image, Seen, picture
from hardware.draw.shapes import Solid, box, profile, rod, together

PLASTIC, LIDS = (242, 150, 60), (70, 120, 190)
METAL, WOOD, WALL, CAMERA = (190, 195, 200), (214, 178, 128), (225, 228, 230), (90, 90, 95)
WATER, RED, BOAT = (120, 185, 225), (220, 40, 40), (245, 215, 90)
BEAM_ABOVE_MM = 40.0
RIM_ABOVE_MM = 95.0
"""Of the water in these pictures."""


def post(sensor: Sensor) -> list[Seen]:
    """A post on a rim: x to the water, its wet side at 0; z up, the rim's top at 0."""
    axis = clamp_rod_mm()
    drop = BEAM_ABOVE_MM - RIM_ABOVE_MM - beam_at_mm()[2]
    head = standing_head(sensor).translate([axis, 0, drop])
    lid = head_lid().rotate([180, 0, 0]).translate([axis, beam_at_mm()[1], drop + 23.6])
    return [
        Seen(standing_clamp(), PLASTIC),
        Seen(rod(8.0, along="z", at=(axis, 0), span=(drop - 8, 40)), METAL),
        Seen(head, PLASTIC),
        Seen(lid, LIDS),
        Seen(rod(6.0, along="x", at=(0, -26), span=(-66, -12)), METAL),
    ]


def beam(length_mm: float) -> Solid:
    """The beam of a `post`, from its opening on."""
    x, y, _ = beam_at_mm()
    start = clamp_rod_mm() + x
    level = BEAM_ABOVE_MM - RIM_ABOVE_MM
    return rod(3.0, along="x", at=(y, level), span=(start, start + length_mm))


def post_scene() -> Image:
    """One post at the rim, its beam and the water."""
    rim = box((-22, -90, -150), (0, 90, 0))
    water = box((0, -90, -150), (190, 90, -RIM_ABOVE_MM))
    scene = [*post("led"), Seen(rim, WALL), Seen(beam(70), RED), Seen(water, WATER)]
    return picture(scene, turn_deg=-28, rise_deg=24, size_px=(720, 540))


def camera_scene() -> Image:
    """Stand, cross, arm and plate."""
    reach = (25.4 + 8) / 2
    cross = other_mounts.pole_cross()
    middle = cross.bounding_box()[5] / 2
    stand = rod(25.0, along="z", at=(0, -reach), span=(-120, 110))
    arm = rod(25.0, along="x", at=(reach, 0), span=(-60, 260))
    plate = other_mounts.camera_plate()
    hung = plate.translate([190, reach, -(5 + 6 + 25.4 / 2)])
    camera = box((178, reach - 20, -46), (262, reach + 20, -25)) + rod(
        14.0, along="z", at=(221, reach), span=(-56, -45)
    )
    scene = [Seen(cross.translate([0, 0, -middle]), PLASTIC), Seen(stand, WOOD), Seen(arm, WOOD), Seen(hung, PLASTIC)]
    return picture([*scene, Seen(camera, CAMERA)], turn_deg=25, rise_deg=18, size_px=(720, 480))


def boat() -> Solid:
    """A plain hull with its flag straw, bow along x."""
    outline = [(-80, -35), (40, -35), (85, 0), (40, 35), (-80, 35)]
    hull = profile(outline, tall_mm=30).translate([0, 0, -10])
    return hull + rod(6.0, along="z", at=(30, 0), span=(20, 85))


def rig_scene() -> Image:
    """Tank, two gates, camera: all of it."""
    long, wide, wall = 1300.0, 560.0, 12.0
    outer = box((-wall, -wall, -190), (long + wall, wide + wall, 0))
    tank = outer - box((0, 0, -180), (long, wide, 10))
    water = box((0, 0, -180), (long, wide, -RIM_ABOVE_MM))
    scene = [Seen(tank, WALL), Seen(water, WATER), Seen(boat().translate([560, 280, -RIM_ABOVE_MM]), BOAT)]
    for x, sensors in ((260.0, ("led", "receiver")), (1040.0, ("receiver", "led"))):
        scene += _across(x, sensors, wide)
    scene += [_moved(seen, 0, (0, 150)) for seen in _light()]
    return picture([*scene, *_stand(long, wide)], turn_deg=-24, rise_deg=33, size_px=(900, 720))


def _across(x: float, sensors: tuple[str, str], wide: float) -> list[Seen]:
    """Posts at both sides of the tank, facing each other: the beam stands off the rod, so the far one is shifted."""
    aside = beam_at_mm()[1]
    near = [_moved(seen, 90, (x + aside, 0)) for seen in post(sensors[0])]  # type: ignore[arg-type]
    far = [_moved(seen, -90, (x - aside, wide)) for seen in post(sensors[1])]  # type: ignore[arg-type]
    start = clamp_rod_mm() + beam_at_mm()[0]
    ray = rod(4.0, along="y", at=(x, BEAM_ABOVE_MM - RIM_ABOVE_MM), span=(start, wide - start))
    return [*near, *far, Seen(ray, RED)]


def _light() -> list[Seen]:
    """The light for the camera on its own clamp, as `post`."""
    axis, level = clamp_rod_mm(), -62.0
    upright = rod(8.0, along="z", at=(axis, 0), span=(level - 6, 40))
    arm = MOUNTS["light_arm"].make()
    to_rod = arm.bounding_box()[0] + 10
    led = rod(5.0, along="z", at=(axis + 50, 0), span=(level + 8, level + 17))
    held = Seen(arm.translate([axis - to_rod, 0, level]), PLASTIC)
    return [Seen(standing_clamp(), PLASTIC), Seen(upright, METAL), held, Seen(led, RED)]


def _moved(seen: Seen, turn_deg: float, to: tuple[float, float]) -> Seen:
    return Seen(seen.solid.rotate([0, 0, turn_deg]).translate([to[0], to[1], 0]), seen.colour, seen.opacity)


def _stand(long: float, wide: float) -> list[Seen]:
    reach, height, x = (25.4 + 8) / 2, 900.0, long / 2
    y = wide + 130
    pole = rod(25.0, along="z", at=(x + reach, y), span=(-190, height + 80))
    arm = rod(25.0, along="y", at=(x - reach, height), span=(wide / 2 - 60, y + 60))
    foot = box((x - 170, y - 25, -190), (x + 210, y + 25, -165)) + box((x - 5, y - 25, -190), (x + 45, y + 240, -165))
    cross = MOUNTS["pole_cross"].make()
    cross = cross.translate([0, 0, -cross.bounding_box()[5] / 2]).rotate([0, 0, 90])
    plate = MOUNTS["camera_plate"].make().rotate([0, 0, 90]).translate([x - reach, wide / 2, height - 23.7])
    camera = box((x - reach - 18, wide / 2 - 45, height - 46), (x - reach + 18, wide / 2 + 45, height - 24))
    lens = rod(16.0, along="z", at=(x - reach, wide / 2), span=(height - 58, height - 45))
    wood = Seen(together([pole, arm, foot]), WOOD)
    return [wood, Seen(cross.translate([x, y, height]), PLASTIC), Seen(plate, PLASTIC), Seen(camera + lens, CAMERA)]


SCENES: Mapping[str, Callable[[], Image]] = {"post": post_scene, "camera_stand": camera_scene, "rig": rig_scene}
"""Name -> what draws it."""
