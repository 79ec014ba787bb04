"""Rods, screws, nuts, rims and sensors fit; light finds one way."""

from __future__ import annotations

import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw.gate_mounts import (
    BOX_MM,
    ROD_AT_MM,
    SIZES,
    GateSizes,
    Sensor,
    beam_at_mm,
    clamp_rod_mm,
    head_lid,
    light_arm,
    standing_clamp,
    standing_head,
)
from hardware.draw.shapes import M4, M6, Solid, box, hexagon, rod
from tests.hardware.draw.gauges import goes

SENSORS: tuple[Sensor, ...] = ("led", "receiver", "laser")
X, Y, Z = beam_at_mm()
LONG = (-200.0, 200.0)


@pytest.mark.parametrize("rod_mm", [6.0, 8.0, 10.0])
def test_a_rod_goes_through_clamp_and_head_and_a_thicker_one_does_not(rod_mm: float) -> None:
    sizes = GateSizes(rod_mm=rod_mm)
    places = ((standing_clamp(sizes), clamp_rod_mm()), (standing_head("led", sizes), 0.0))
    for part, x in places:
        assert goes(part, rod(rod_mm + 0.2, along="z", at=(x, 0), span=LONG))
        assert not goes(part, rod(rod_mm + 0.8, along="z", at=(x, 0), span=LONG))


def test_the_clamp_takes_its_rim_and_no_thicker_one() -> None:
    clamp = standing_clamp()
    assert goes(clamp, box((-30, -200, -200), (0, 200, 0)))
    assert not goes(clamp, box((-30.5, -200, -200), (0, 200, 0)))
    assert not goes(clamp, box((-30, -200, -200), (0, 200, 0.5)))


def test_the_clamp_s_screw_reaches_the_rim_and_its_nut_cannot_turn() -> None:
    clamp, level = standing_clamp(), -26.0
    assert goes(clamp, rod(6.0, along="x", at=(0, level), span=(-80, 0)))
    span = (-30 - M6.nut_tall_mm, -30)

    def nut(flats_mm: float) -> Solid:
        # flats up and down, as the pocket has them when the clamp stands on the rim
        return hexagon(flats_mm, along="x", at=(0, 0), span=span).rotate([90, 0, 0]).translate([0, 0, level])

    assert goes(clamp, nut(M6.nut_flats_mm))
    assert not goes(clamp, nut(M6.nut_flats_mm + 0.8))
    turned = hexagon(M6.nut_flats_mm, along="x", at=(0, 0), span=span).translate([0, 0, level])
    assert not goes(clamp, turned)


def test_a_screw_of_4_mm_reaches_the_rod_in_clamp_and_head() -> None:
    clamp_x = clamp_rod_mm()
    assert goes(standing_clamp(), rod(4.0, along="x", at=(0, -8), span=(clamp_x, clamp_x + 60)))
    assert goes(standing_head("led"), rod(4.0, along="y", at=(0, Z), span=(-60, 0)))
    nut = box(
        (-M4.nut_flats_mm / 2, -22 - ROD_AT_MM[1] + 2.6, Z - 3.5), (M4.nut_flats_mm / 2, -22 - ROD_AT_MM[1] + 5.8, 50)
    )
    assert goes(standing_head("led"), nut)


@pytest.mark.parametrize("sensor", SENSORS)
def test_light_goes_from_the_seat_to_the_opening_and_a_wider_beam_does_not(sensor: Sensor) -> None:
    head = standing_head(sensor)
    assert goes(head, rod(SIZES.opening_mm - 0.2, along="x", at=(Y, Z), span=(0, 200)))
    assert not goes(head, rod(SIZES.opening_mm + 0.4, along="x", at=(Y, Z), span=(0, 200)))
    assert standing_head(sensor).bounding_box()[3] == pytest.approx(X)


@pytest.mark.parametrize("sensor", SENSORS)
def test_light_from_aside_does_not_reach_the_seat(sensor: Sensor) -> None:
    """A ray that comes in by the opening at more than 10 degrees meets the hood's wall, not the seat."""
    head = standing_head(sensor)
    for up in (0.0, 1.9, -1.9):
        for slope in (0.1763, -0.1763):  # tan 10 degrees
            seat_x = BOX_MM[0] - ROD_AT_MM[0] + 3
            far_y = Y + up + slope * (X - seat_x)
            assert head.ray_cast([X + 0.1, Y + up, Z], [seat_x, far_y, Z]), (up, slope)


def test_each_sensor_fits_its_seat_and_no_other_stands_loose() -> None:
    front = BOX_MM[0] - ROD_AT_MM[0]
    span = (front - 4, front)
    led, laser = (rod(d, along="x", at=(Y, Z), span=span) for d in (5.0, 6.0))
    receiver = box((span[0], Y - 3, Z - 3.5), (span[1], Y + 3, Z + 3.5))
    heads = {sensor: standing_head(sensor) for sensor in SENSORS}
    assert goes(heads["led"], led)
    assert goes(heads["laser"], laser)
    assert goes(heads["receiver"], receiver)
    assert not goes(heads["led"], laser)
    assert not goes(heads["laser"], receiver)
    for slack in (rod(5.6, along="x", at=(Y, Z), span=span), rod(6.6, along="x", at=(Y, Z), span=span)):
        assert not goes(heads["led"], slack)
    assert not goes(heads["receiver"], box((span[0], Y - 3.4, Z - 3.5), (span[1], Y + 3.4, Z + 3.5)))


def test_the_lid_closes_the_box_with_a_little_play() -> None:
    head = standing_head("led")
    lid = head_lid().rotate([180, 0, 0]).translate([0, Y, BOX_MM[2] + 1.6])
    assert goes(head, lid)
    for push in ([0.3, 0, 0], [-0.3, 0, 0], [0, 0.3, 0], [0, -0.3, 0]):
        assert not goes(head, lid.translate(push))


def test_the_light_s_arm_holds_rod_and_led() -> None:
    arm = light_arm()
    x0, y0, *_ = arm.bounding_box()
    for gauge_mm, fits in ((8.2, True), (8.8, False)):
        assert goes(arm, rod(gauge_mm, along="z", at=(x0 + 10, y0 + 11), span=(-5, 30))) == fits
    for gauge_mm, fits in ((5.0, True), (5.6, False)):
        assert goes(arm, rod(gauge_mm, along="z", at=(x0 + 60, y0 + 11), span=(-5, 30))) == fits
