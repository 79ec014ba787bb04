from __future__ import annotations

import pytest

from logger.checkup.beams import Beams
from logger.records import Edge

MS = 1_000_000


def told(beams: Beams, *edges: tuple[str, int, bool], until_ms: int = 10_000) -> Beams:
    """The beams after edges (gate, ms, blocked) and a quiet time."""
    for gate, at_ms, blocked in edges:
        beams.edge(Edge(at_ms * MS, gate, blocked, "gates"))
        beams.time(at_ms * MS)
    beams.time(until_ms * MS)
    return beams


def hand(gate: str, at_ms: int) -> list[tuple[str, int, bool]]:
    return [(gate, at_ms, True), (gate, at_ms + 200, False)]


def test_a_hand_in_each_beam_is_seen_and_said_at_once() -> None:
    said: list[str] = []
    beams = Beams(["start", "finish"], say=said.append)
    told(beams, *hand("start", 1000), until_ms=1400)
    assert (beams.all_passed, said) == (False, [])
    told(beams, until_ms=1500)
    assert said == ["gate start: trips and clears (2 edges)"]
    told(beams, *hand("finish", 3000))
    assert beams.all_passed
    assert {finding.health for finding in beams.passed_findings()} == {"well"}


def test_fingers_make_one_pass_of_more_edges_and_a_loose_plug_a_flicker() -> None:
    fingers = [("a", 1000 + 20 * n, n % 2 == 0) for n in range(6)]
    loose = [("b", 3000 + 5 * n, n % 2 == 0) for n in range(14)]
    a, b = told(Beams(["a", "b"]), *fingers, *loose).passed_findings()
    assert (a.health, a.found) == ("well", "trips and clears (6 edges a pass)")
    assert (b.health, b.found) == ("doubtful", "trips and clears, but flickers: 14 edges in one pass")


def test_a_gate_of_which_nothing_is_seen_is_wrong() -> None:
    a, b = told(Beams(["a", "b"]), *hand("a", 1000)).passed_findings()
    assert (a.health, b.health) == ("well", "wrong")
    assert "never tripped" in b.found
    assert "plug" in b.cure


def test_a_beam_that_does_not_clear_again_is_wrong() -> None:
    beams = told(Beams(["a"]), ("a", 1000, True))
    (a,) = beams.passed_findings()
    assert (a.health, a.found, beams.all_passed) == ("wrong", "it is broken and does not clear", False)


def test_a_beam_that_only_became_clear_was_not_passed() -> None:
    beams = told(Beams(["a"]), ("a", 1000, False))
    assert not beams.all_passed
    assert next(beams.passed_findings()).health == "wrong"


def test_swapped_plugs_show_by_the_order_of_answers() -> None:
    *_, order = told(Beams(["start", "finish"]), *hand("finish", 1000), *hand("start", 3000)).passed_findings()
    assert (order.part, order.health) == ("gates", "doubtful")
    assert "finish, start, asked were start, finish" in order.found
    assert "swapped" in order.cure


def test_an_idle_beam_that_is_broken_or_flickers_is_wrong() -> None:
    flicker = [("b", 100 * n, n % 2 == 0) for n in range(4)]
    beams = told(Beams(["a", "b", "c"]), ("a", 50, True), *flicker)
    found = {finding.part: finding.found for finding in beams.idle_findings()}
    assert found == {
        "gate a": "the beam is broken now",
        "gate b": "the beam flickers: 4 edges while nobody is there",
    }
    assert beams.blocked() == ["a"]
    assert all(finding.cure for finding in beams.idle_findings())


@pytest.mark.parametrize("look", ["idle_findings", "passed_findings"])
def test_a_gate_that_the_rig_file_does_not_know_is_told(look: str) -> None:
    beams = told(Beams(["a"]), *hand("a", 100), *hand("ghost", 1000))
    (ghost,) = [finding for finding in getattr(beams, look)() if finding.part == "gate ghost"]
    assert ghost.health == "wrong"
