"""The list of parts agrees with drawings, plugs and mounts, and its sums with a sum by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.placing import Camera, Site, height_mm
from hardware.draw import circuits
from hardware.draw.parts import FILE, KINDS, NEEDS, Bought, parts_blocks, read, sum_of
from hardware.draw.sockets import SOCKETS

SIZES, PARTS = read()
BY_NAME = {part.name: part for part in PARTS}


def test_there_is_a_plug_for_every_socket() -> None:
    for poles in {socket.poles_count for socket in SOCKETS}:
        wanted = sum(socket.poles_count == poles for socket in SOCKETS)
        assert set(BY_NAME[f"plug and socket, {poles} poles"].counts) == {wanted}


def test_cable_reaches_every_post_and_none_is_longer_than_was_reckoned_with() -> None:
    """From a box 1 m beside the tank's middle to a post at its end, on the far side."""
    for what, posts in (("receivers", 2), ("emitters", 2), ("the light", 1)):
        for size, every_m in zip(SIZES, BY_NAME[f"cable for {what}, m"].counts, strict=True):
            each_m = every_m / posts
            away_m = 0.35 * size.length_mm / 1000 + size.width_mm / 1000 + 1
            assert away_m < each_m <= circuits.CABLE_M, (what, size.words, away_m, each_m)


def test_screws_and_rods_are_those_of_the_mounts() -> None:
    pytest.importorskip("manifold3d", reason="manifold3d is not installed: pip install '.[hardware]'")
    from hardware.draw.mounts import MOUNTS

    count = {name: mount.count for name, mount in MOUNTS.items()}
    heads = count["head_led"] + count["head_receiver"]
    small = count["rim_clamp"] + heads + count["light_arm"]
    large = count["rim_clamp"] + 4 * count["pole_cross"] + count["camera_plate"]
    assert set(BY_NAME["screws M4 with nuts"].counts) == {small}
    assert set(BY_NAME["screws M6 with nuts"].counts) == {large}
    rods = BY_NAME["rods"].counts[0] + BY_NAME["rod for the light"].counts[0]
    assert rods == count["rim_clamp"]


def test_every_need_is_some_rig_s_and_every_rig_has_what_runs_need() -> None:
    assert {part.need for part in PARTS} == set(NEEDS) == set().union(*KINDS.values())
    for kind, needs in KINDS.items():
        assert ("gates" in needs) == ("infrared" in needs or "laser" in needs), kind
        assert "gates" in needs or "camera" in needs, kind


def test_a_sum_is_a_sum() -> None:
    parts = (
        Bought("x", "", "always", "B", (2,)),
        Bought("y", "", "camera", "A", (1,)),
        Bought("z", "", "laser", "D", (1,)),
        Bought("wire, m", "", "always", "A", (12,), per_count=10),
    )
    assert sum_of(parts, needs=frozenset({"always", "camera"}), size_index=0) == (10 + 1 + 2, 30 + 5 + 10)


def test_a_mistake_in_the_file_is_told_with_its_part(tmp_path: Path) -> None:
    text = FILE.read_text(encoding="utf-8").replace('price = "D"', 'price = "Z"', 1).replace("[2, 2, 2]", "[2, 2]", 1)
    wrong = tmp_path / "parts.toml"
    wrong.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=r"parts.toml: Raspberry Pi: price is 'Z'; .*memory card: count is \[2, 2\]"):
        read(wrong)


def test_heights_in_the_text_are_those_of_the_plan() -> None:
    above = height_mm(Site(1500, 900), Camera(66, 41))
    assert f"{above} up" in parts_blocks()["lenses"]


def test_no_part_is_named_by_a_maker_s_number() -> None:
    """Types of circuits that many make are words of the trade; they stand in wiring.md."""
    allowed = {"RP2040", "3B+", "M4", "M6", "A1"}
    for part in PARTS:
        odd = [
            w
            for w in part.name.replace(",", " ").split()
            if any(c.isdigit() for c in w) and any(c.isalpha() for c in w)
        ]
        assert set(odd) <= allowed, part.name
