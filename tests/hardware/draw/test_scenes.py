"""What the pictures show fits together."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")

from hardware.draw.gate_mounts import beam_at_mm
from hardware.draw.scenes import BEAM_ABOVE_MM, RIM_ABOVE_MM, SCENES, beam, boat, post
from tests.hardware.draw.gauges import goes


def test_the_parts_of_a_post_do_not_run_into_each_other() -> None:
    clamp, rod, head, lid, screw = (seen.solid for seen in post("receiver"))
    for a, b in ((clamp, rod), (rod, head), (head, lid), (clamp, head), (clamp, lid), (clamp, screw)):
        assert goes(a, b)


def test_the_beam_leaves_its_hood_at_the_height_that_is_said() -> None:
    head, ray = post("led")[2].solid, beam(100)
    assert goes(head, ray)
    _, y0, z0, _, y1, z1 = ray.bounding_box()
    assert (z0 + z1) / 2 + RIM_ABOVE_MM == pytest.approx(BEAM_ABOVE_MM)
    assert (y0 + y1) / 2 == pytest.approx(beam_at_mm()[1])


def test_the_flag_straw_breaks_the_beam_and_the_deck_does_not() -> None:
    _, _, _, _, _, top = boat().bounding_box()
    assert top > BEAM_ABOVE_MM + 20
    assert boat().slice(BEAM_ABOVE_MM).area() == pytest.approx(28.2, abs=0.3)  # a straw of 6 mm


def test_the_text_says_where_the_beam_is(project: Path) -> None:
    text = (project / "hardware/mechanics.md").read_text(encoding="utf-8")
    assert f"{beam_at_mm()[1]:.0f} mm beside the rod" in text
    assert f"{BEAM_ABOVE_MM:.0f} mm above still water" in text


def test_every_scene_has_a_name() -> None:
    assert set(SCENES) == {"post", "camera_stand", "rig"}
