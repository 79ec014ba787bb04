from __future__ import annotations

from xml.etree import ElementTree

from calibration.beams import Sighting, solve_beams
from logger.study.gates_seen import gates_picture

SVG = "{http://www.w3.org/2000/svg}"


def drawn(*past_mm: float) -> ElementTree.Element:
    seen = [Sighting("A & B", f"pull <{n}>", past, 0.5, {}) for n, past in enumerate(past_mm)]
    return ElementTree.fromstring(gates_picture(solve_beams(seen)))


def test_every_passage_is_a_dot_and_what_was_left_out_a_ring() -> None:
    picture = drawn(0.1, -0.2, 0.3, 30.0)
    kinds = [dot.get("class") for dot in picture.iter(f"{SVG}circle")]
    assert sorted(kinds) == ["run", "run", "run", "run left-out"]


def test_places_are_to_the_scale_of_the_axis() -> None:
    picture = drawn(0.0, 4.0, 8.0)
    x = [float(dot.get("cx", "nan")) for dot in picture.iter(f"{SVG}circle")]
    assert abs((x[1] - x[0]) - (x[2] - x[1])) < 0.05
    assert x[0] < x[1] < x[2]


def test_it_is_announced_in_words() -> None:
    title = drawn(1.0, 1.2, 0.8).findtext(f"{SVG}title")
    assert title is not None
    assert "A & B: 1.0" in title
