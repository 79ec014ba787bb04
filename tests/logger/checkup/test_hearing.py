from __future__ import annotations

from logger.checkup.hearing import Hearing
from logger.records import ClockDoubt, Fault, Quiet

NOW_NS = 1_000_000_000_000


def heard(*records: object, is_live: bool = True) -> Hearing:
    hearing = Hearing("gates", is_live=is_live, now_ns=lambda: NOW_NS)
    for record in records:
        hearing.hear(record)  # type: ignore[arg-type]
    return hearing


def test_a_device_that_only_lives_is_no_finding() -> None:
    assert list(heard(Quiet(NOW_NS, "gates")).findings()) == []


def test_silence_is_wrong() -> None:
    (silent,) = heard().findings()
    assert (silent.part, silent.health) == ("gates", "wrong")
    assert "says nothing" in silent.found


def test_trouble_is_doubtful_and_lasting_trouble_wrong_each_with_its_cure() -> None:
    passing = Fault(NOW_NS, "gates", "2 edges were lost", "end other programs")
    lasting = Fault(NOW_NS, "gates", "unplugged", "plug it in", lasting=True)
    assert [(f.health, f.found, f.cure) for f in heard(passing, lasting).findings()] == [
        ("doubtful", "2 edges were lost", "end other programs"),
        ("wrong", "unplugged", "plug it in"),
    ]


def test_trouble_of_one_gate_is_told_of_that_gate_unless_more_is_known_of_it() -> None:
    hearing = heard(Fault(NOW_NS, "gates", "gate A: the beam flickers", "line up the beam"))
    (found,) = hearing.findings()
    assert (found.part, found.found) == ("gate A", "the beam flickers")
    assert list(hearing.findings(but_parts={"gate A"})) == []


def test_stamps_of_another_clock_are_wrong_where_they_should_be_of_this_one() -> None:
    wall = Quiet(1_764_000_000_000_000_000, "gates")
    (found,) = heard(Quiet(NOW_NS, "gates"), wall).findings()
    assert (found.health, "another clock" in found.found) == ("wrong", True)
    assert list(heard(wall, is_live=False).findings()) == []


def test_a_clock_known_to_a_millisecond_is_well_and_beyond_that_doubtful() -> None:
    assert list(heard(ClockDoubt(NOW_NS, "gates", 900_000, "answers")).findings()) == []
    (found,) = heard(ClockDoubt(NOW_NS, "gates", 2_500_000, "4 answers")).findings()
    assert (found.health, found.found) == ("doubtful", "its stamps are known to ± 5.0 ms (95 %) only (4 answers)")
