from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, chi2

from logger.checkup.gate_trials import CALL_EVERY_NS, CALLS_COUNT, CALM_NS, Judged, Trial
from logger.records import Edge

BEGIN_NS = 5_000_000_000
MS_NS = 1_000_000


def passed(*numbers: int, gate: str = "A", dark_ns: int = 20 * MS_NS, edges: int = 2) -> list[Edge]:
    """Straws on the calls of these numbers (from 1), each a second after its call."""
    found = []
    for number in numbers:
        at_ns = BEGIN_NS + (number - 1) * CALL_EVERY_NS + 1_000_000_000
        found += [Edge(at_ns + k * dark_ns, gate, k % 2 == 0, "gates") for k in range(edges)]
    return found


def straws(edges: list[Edge], gate: str = "A") -> Judged:
    trial = Trial(["A", "B"])
    for edge in sorted(edges, key=lambda edge: edge.t_ns):
        trial.edge(edge)
    return trial.straws(gate, from_ns=BEGIN_NS)


def calm(*edges: Edge) -> Judged:
    trial = Trial(["A", "B"])
    for edge in edges:
        trial.edge(edge)
    return trial.calm(from_ns=BEGIN_NS, to_ns=BEGIN_NS + CALM_NS)


def test_ten_of_ten_pass_and_say_what_that_proves() -> None:
    judged = straws(passed(*range(1, 11)))
    assert judged.passed
    # Clopper and Pearson's one-sided bound, by the beta distribution's own quantile (scipy.stats)
    at_least = 100 * beta.ppf(0.05, CALLS_COUNT, 1)
    assert judged.found[0] == f"10 of 10 straws of 6 mm seen (at least {at_least:.0f} % are, 95 %)"
    assert judged.found[1] == "dark for 20 ms each, varying by 0 ms"
    assert judged.cure == ""


@given(st.sets(st.integers(1, 10), max_size=9))
def test_every_missed_pass_is_named_whichever_it_is(caught: set[int]) -> None:
    judged = straws(passed(*sorted(caught)))
    assert not judged.passed
    assert judged.found[0].startswith(f"{len(caught)} of 10 straws")
    missed = ", ".join(str(n) for n in range(1, 11) if n not in caught)
    assert f"not seen: pass {missed}" in judged.found
    assert judged.cure


def test_nine_passes_and_one_twice_are_not_ten() -> None:
    twice = [Edge(edge.t_ns + 900 * MS_NS, "A", edge.blocked, "gates") for edge in passed(4)]
    judged = straws(passed(*range(1, 10)) + twice)
    assert not judged.passed
    assert "not seen: pass 10" in judged.found
    assert "broken more than once: pass 4" in judged.found


def test_what_flutters_within_a_moment_is_one_pass_and_much_of_it_a_flicker() -> None:
    assert straws(passed(*range(1, 11), edges=4)).passed
    judged = straws(passed(*range(1, 10)) + passed(10, edges=12, dark_ns=2 * MS_NS))
    assert not judged.passed
    assert "it flickers: 12 edges in one pass" in judged.found


def test_another_beam_that_is_broken_meanwhile_is_told() -> None:
    judged = straws(passed(*range(1, 11)) + passed(2, 3, gate="B"))
    assert not judged.passed
    assert "the beam of gate B was broken as well, 2 times" in judged.found
    assert "swapped" in judged.cure


def test_swapped_plugs_fail_both_ways() -> None:
    judged = straws(passed(*range(1, 11), gate="B"))
    assert judged.found[0] == "0 of 10 straws of 6 mm seen"
    assert not judged.passed


def test_a_beam_that_stays_broken_fails_even_after_ten_passes() -> None:
    judged = straws([*passed(*range(1, 11)), Edge(BEGIN_NS + 10 * CALL_EVERY_NS - 1, "A", True, "gates")])
    assert not judged.passed
    assert "it is broken and does not clear" in judged.found


def test_a_beam_broken_from_before_the_first_call_is_no_pass() -> None:
    judged = straws([Edge(1, "A", True, "gates")])
    assert judged.found[0] == "0 of 10 straws of 6 mm seen"
    assert not judged.passed


def test_a_minute_without_any_break_passes_and_says_what_that_proves() -> None:
    judged = calm()
    # Garwood's upper bound for a Poisson count of nothing, by the chi-squared quantile (scipy.stats)
    most = chi2.ppf(0.95, 2) / 2
    assert judged == Judged(True, (f"0 breaks by ripples in 60.0 s at 2 beams (at most {most:.1f} a minute, 95 %)",))


@pytest.mark.parametrize("at_ns", [BEGIN_NS, BEGIN_NS + CALM_NS - 1])
def test_one_crest_at_the_very_beginning_or_end_fails(at_ns: int) -> None:
    judged = calm(Edge(at_ns, "B", True, "gates"), Edge(at_ns + MS_NS, "B", False, "gates"))
    assert not judged.passed
    assert "gate B: broken once" in judged.found
    assert f"at most {chi2.ppf(0.95, 4) / 2:.1f} a minute" in judged.found[0]


def test_what_was_before_and_after_does_not_count_but_a_beam_that_stands_broken_does() -> None:
    before, after = BEGIN_NS - 10 * MS_NS, BEGIN_NS + CALM_NS
    assert calm(
        *(Edge(t, "A", b, "g") for t, b in ((before, True), (before + 1, False), (after, True), (after + 1, False)))
    ).passed
    judged = calm(Edge(before, "A", True, "g"))
    assert not judged.passed
    assert "gate A: it is broken and does not clear" in judged.found
