"""What is painted on a deck."""

from __future__ import annotations

import numpy as np
import pytest

from logger.simulator.background import linear
from logger.simulator.boats import PAINTS
from logger.simulator.deck import deck_paint
from logger.simulator.scene import draw
from logger.simulator.sight import Sight
from logger.simulator.window import Window
from logger.simulator.wishes import wishes


def test_a_plain_deck_is_its_paint_everywhere() -> None:
    scene = draw(tier="easy", kind="drift", seed=2, asked=wishes({"plain_deck": True, "paint": "red"}))
    paint = deck_paint(scene).paints[0]
    np.testing.assert_allclose(paint, np.broadcast_to(linear(PAINTS["red"]), paint.shape), rtol=1e-5)


def test_a_hatch_stays_at_its_place_on_the_deck_as_the_boat_moves() -> None:
    scene = draw(tier="easy", kind="drift", seed=4, asked=wishes({"shape": "pointed", "paint": "white", "line_ns": 0}))
    deck, sight = deck_paint(scene), Sight(scene)
    places = []
    for t in (0.0, scene.ended_s):
        outline = sight.deck(t)
        window = Window(outline, margin_px=4, limit=(720, 1280))
        seen = deck.seen(outline, window, 0.0)[..., 1]
        dark = (seen < 0.9 * np.median(seen)) & (window.cover(outline) == 1)
        assert dark.any()
        v, u = np.nonzero(dark)
        pixels = np.column_stack([u + window.left_px, v + window.top_px])
        on_deck = scene.eye.on_plane(pixels, z_mm=scene.hull.freeboard_mm).mean(axis=0)
        x, y, heading = scene.voyage.pose([t])[0]
        c, s = np.cos(heading), np.sin(heading)
        places.append(np.array([[c, s], [-s, c]]) @ (on_deck - (x, y)))
    np.testing.assert_allclose(places[0], places[1], atol=1.5)


def test_foil_looks_different_as_the_light_meets_it_differently() -> None:
    scene = draw(tier="realistic", kind="drift", seed=4, asked=wishes({"paint": "foil"}))
    deck, outline = deck_paint(scene), Sight(scene).deck(0.0)
    window = Window(outline, margin_px=4, limit=(720, 1280))
    one, other = (deck.seen(outline, window, turn) for turn in (0.0, np.pi / 2))
    assert np.abs(one - other).mean() > 0.02
    assert one.mean() == pytest.approx(other.mean(), rel=0.15)
