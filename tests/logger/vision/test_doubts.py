from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.vision import doubts
from logger.vision.card import Card, boat_card
from logger.vision.learning import Learnt
from logger.vision.plane import Plane
from tests.logger.vision.conftest import Painted


def shifts(painted: Painted, plane: Plane | None = None, contrast: float = 100.0, card: Card | None = None) -> dict:
    plane = plane or painted.plane
    seen = plane.foot_mm + np.array([[400.0, 0.0], [0.0, 0.0]])
    return doubts.shifts(
        plane,
        card or boat_card(painted.recording.card.boat),
        painted.learnt,
        contrast=contrast,
        seen=seen,
        heading_rad=np.array([0.0, np.pi / 2]),
        place_mm=plane.lowered(seen, painted.learnt.hull.freeboard_mm),
    )


def reach(painted: Painted, learnt: Learnt, *, card: Card | None = None) -> float:
    card = card or boat_card(painted.recording.card.boat)
    return doubts.u_outline(learnt, painted.plane, card)


def test_an_outline_of_one_colour_or_not_of_the_cards_length_reaches_less_surely(painted: Painted) -> None:
    usual = reach(painted, painted.learnt)
    assert reach(painted, replace(painted.learnt, is_by_colour=True)) > 1.5 * usual
    longer = replace(boat_card(painted.recording.card.boat), length_mm=214.0)
    assert reach(painted, painted.learnt, card=longer) > 1.5


def test_a_wrong_freeboard_moves_fixes_along_the_line_to_the_foot_point(painted: Painted) -> None:
    """Similar triangles: r·δh/H, none at all below the lens; what the walls' feet do to the fit comes on top."""
    card = boat_card(painted.recording.card.boat)
    moved = shifts(painted)["freeboard"]
    u = doubts.u_freeboard(painted.learnt, card)
    assert 0.3 <= u <= card.u_freeboard_mm
    assert moved[0] == pytest.approx([-400 * u / 1400, 0], rel=0.1, abs=0.002)
    assert moved[1] == pytest.approx([0, 0], abs=0.005)


def test_the_outlines_doubt_turns_with_the_boat(painted: Painted) -> None:
    along = shifts(painted)["hull outline, along"]
    assert along[0, 0] == pytest.approx(along[1, 1])
    assert along[0, 1] == pytest.approx(0, abs=1e-9)


def test_a_faint_boat_or_one_of_the_wrong_size_is_more_doubtful(painted: Painted) -> None:
    usual = np.hypot(*shifts(painted)["hull outline, along"][0])
    faint = np.hypot(*shifts(painted, contrast=10.0)["hull outline, along"][0])
    card = replace(boat_card(painted.recording.card.boat), length_mm=218.0)
    wrong = np.hypot(*shifts(painted, card=card)["hull outline, along"][0])
    assert faint == pytest.approx(3 * usual)
    assert wrong > 2


def test_a_doubt_of_the_camera_becomes_a_shift(painted: Painted) -> None:
    view = painted.plane.view
    lens: Lens = view.lens
    higher = Pose.at(view.pose.rotation, camera_mm=view.pose.camera_mm + np.array([0, 0, 2.0]))
    plane = Plane(View(lens, view.pose, {"camera height": (lens, higher)}), painted.plane.z_mm)
    moved = shifts(painted, plane)["camera height"]
    assert moved[0, 0] == pytest.approx(400 * 2 / 1380, rel=0.05)


def test_a_card_that_does_not_fit_the_outline_is_flagged(painted: Painted) -> None:
    card, learnt = boat_card(painted.recording.card.boat), painted.learnt
    assert doubts.flags(card, learnt, painted.plane, painted.found) == ()
    wrong = replace(card, length_mm=260.0)
    assert "length is 20" in doubts.flags(wrong, learnt, painted.plane, painted.found)[0]
    faint = replace(painted.found, contrast=4.0)
    assert "only 4 of 255" in doubts.flags(card, learnt, painted.plane, faint)[0]


def test_sides_that_do_not_fit_the_card_are_flagged(painted: Painted) -> None:
    card, learnt = boat_card(painted.recording.card.boat), painted.learnt
    high = replace(learnt, hull=replace(learnt.hull, freeboard_mm=card.freeboard_mm + 7 * card.u_freeboard_mm))
    assert "mm high, the boat card says" in doubts.flags(card, high, painted.plane, painted.found)[0]
    leaning = replace(learnt, hull=replace(learnt.hull, taper=0.14))
    assert "leaned" in " ".join(doubts.flags(card, leaning, painted.plane, painted.found))


def test_a_boat_that_shines_in_places_like_its_surroundings_is_flagged_and_doubted(painted: Painted) -> None:
    learnt = painted.learnt
    assert not doubts.shines(learnt)
    deck = learnt.hull.deck.copy()
    deck += (learnt.water * np.where(np.arange(len(deck)) % 3, 0.8, 1.1))[:, None] - deck[:, -1:]
    foil = replace(learnt, hull=replace(learnt.hull, deck=deck))
    assert "uneven light" in doubts.flags(boat_card(painted.recording.card.boat), foil, painted.plane, painted.found)[0]
    assert reach(painted, foil) > 3 * reach(painted, learnt)
    usual = np.hypot(*shifts(painted)["hull outline, along"][0])
    assert np.hypot(*shifts(replace(painted, learnt=foil))["hull outline, along"][0]) > 5 * usual


def test_an_edge_at_which_crinkles_begin_is_doubted_by_pixels(painted: Painted) -> None:
    by_crinkles = replace(painted.learnt, is_by_crinkles=True)
    step = painted.plane.step_mm(painted.plane.foot_mm)
    assert reach(painted, by_crinkles) > max(step, reach(painted, painted.learnt))
    moved = shifts(replace(painted, learnt=by_crinkles))
    for name in ("hull outline, along", "hull outline, across"):
        assert np.hypot(*moved[name][0]) > step
    card = boat_card(painted.recording.card.boat)
    assert doubts.flags(card, by_crinkles, painted.plane, painted.found) == ()
    smaller = replace(card, length_mm=0.93 * card.length_mm, width_mm=0.92 * card.width_mm)
    assert "crinkles alone" in doubts.flags(smaller, by_crinkles, painted.plane, painted.found)[0]
    assert doubts.flags(smaller, painted.learnt, painted.plane, painted.found) == ()


def test_a_wall_like_the_water_says_little_of_where_the_waterline_is(painted: Painted) -> None:
    learnt = painted.learnt
    pale = replace(learnt, hull=replace(learnt.hull, wall=learnt.water + 3.0))
    assert reach(painted, pale) > 1.0


def test_a_pointed_bow_ends_less_certainly_than_a_square_one(painted: Painted) -> None:
    learnt, step = painted.learnt, painted.plane.step_mm(painted.plane.foot_mm)
    assert learnt.hull.is_tip().sum() == 1
    square = replace(learnt, hull=replace(learnt.hull, is_corner=np.zeros_like(learnt.hull.is_corner)))
    card = replace(boat_card(painted.recording.card.boat), length_mm=None)
    more = reach(painted, learnt, card=card) ** 2 - reach(painted, square, card=card) ** 2
    assert np.sqrt(more) == pytest.approx(0.15 * step, rel=0.01)


def test_steps_that_no_boat_makes_are_found() -> None:
    t_ns = np.arange(5) * 33_000_000
    place = np.array([[0.0, 0], [10, 0], [400, 0], [20, 0], [30, 0]])
    assert doubts.leaps(t_ns, place).tolist() == [False, True, True, True, False]


def test_a_thing_of_quite_another_size_is_not_the_boat(painted: Painted) -> None:
    card = boat_card(painted.recording.card.boat)
    assert doubts.another(card, painted.learnt) is None
    told = doubts.another(replace(card, width_mm=140.0), painted.learnt)
    assert told is not None
    assert "the boat card says 140 mm" in told


def a_way(count: int = 20, every_s: float = 1 / 30, speed: float = 600.0) -> tuple[np.ndarray, np.ndarray]:
    t_ns = np.round(np.arange(count) * every_s * 1e9).astype(np.int64)
    return t_ns, np.column_stack([speed * t_ns / 1e9, np.zeros(count)])


@pytest.mark.parametrize("stray", [0, 1, 10, 18, 19])
def test_a_fix_apart_from_its_neighbours_is_stray_at_the_ends_too(stray: int) -> None:
    t_ns, place = a_way()
    place[stray] += (40.0, 5.0)
    found = np.flatnonzero(doubts.strays(t_ns, place))
    assert stray in found
    assert set(found) <= {stray - 1, stray, stray + 1}


def test_what_came_before_many_lost_pictures_bears_no_fix_out() -> None:
    t_ns, place = a_way()
    place[10] += (40.0, 5.0)
    kept = np.r_[:4, 10:20]
    assert np.flatnonzero(doubts.strays(t_ns[kept], place[kept])).tolist() == [4]
    place[10] -= (40.0, 5.0)
    assert not doubts.strays(t_ns[kept], place[kept]).any()


def test_a_boat_stopped_by_a_wall_strays_nowhere() -> None:
    t_ns, place = a_way()
    place[12:] = place[12] - 0.05 * (place[12:] - place[12])
    assert not doubts.strays(t_ns, place).any()


def test_a_boat_that_gathers_way_strays_nowhere_even_where_pictures_are_missing() -> None:
    t_s = np.sort(np.random.default_rng(3).choice(90, 50, replace=False)) / 30
    place = np.column_stack([400 * np.maximum(t_s - 1, 0) ** 2, 0.3 * np.sin(40 * t_s)])
    assert not doubts.strays(np.round(t_s * 1e9).astype(np.int64), place).any()


def test_a_shadow_beside_a_boat_does_not_make_its_deck_uneven(painted: Painted) -> None:
    water = np.full(len(painted.learnt.water), 100.0)
    pale = replace(painted.learnt.hull, deck=np.full_like(painted.learnt.hull.deck, 130.0))
    shaded = np.where(np.arange(len(water)) % 3, water, 60.0)
    boat = replace(painted.learnt, hull=pale, water=shaded)
    assert doubts.is_dim(boat)
    assert not doubts.shines(boat)
    uneven = np.where(np.arange(len(water)) % 3, 130.0, 80.0)[:, None] + np.zeros_like(pale.deck)
    assert doubts.shines(replace(boat, hull=replace(pale, deck=uneven)))


def test_a_deck_with_the_light_of_its_shadow_has_an_edge_that_is_not_seen_everywhere(painted: Painted) -> None:
    usual, hull = painted.learnt, painted.learnt.hull
    left = float(np.median(hull.deck[:, -1]) / np.percentile(usual.water, 90))
    shadows = [replace(hull.shadow, darkness=1 - share) for share in (left, left + 0.3)]
    alike, lighter = (replace(usual, hull=replace(hull, shadow=shadow)) for shadow in shadows)
    assert doubts.is_like_its_shadow(alike)
    assert not doubts.is_like_its_shadow(usual)
    assert not doubts.is_like_its_shadow(lighter)
    step = painted.plane.step_mm(painted.plane.foot_mm)
    assert reach(painted, alike) == pytest.approx(np.hypot(reach(painted, usual), step))
    across = [np.hypot(*shifts(replace(painted, learnt=one))["hull outline, across"][0]) for one in (usual, alike)]
    assert across[1] == pytest.approx(np.hypot(across[0], step))
