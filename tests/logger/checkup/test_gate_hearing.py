from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Self

import pytest

from logger.checkup.gate_hearing import ripples, straws
from logger.checkup.gate_trials import Judged
from logger.config import Rig
from logger.drivers import open_driver
from logger.recording.rig_toml import rig_from_table
from logger.records import Edge, Fault, Quiet


def rig(**options: object) -> Rig:
    across = {"length_mm": 1800, "width_mm": 500, "origin_mm": [-300, -250], "water_depth_mm": 90}
    driver = {"kind": "simulated_attended_gates", "gates": ["A", "B"], "pace": "fast"} | options
    table = {
        "format": "boatrun-rig/1", "name": "gutter", "simulated": True, "tank": across,
        "lines": [{"name": "start", "role": "start", "x_mm": 0}, {"name": "finish", "role": "finish", "x_mm": 1200}],
        "gates": [{"name": "A", "line": "start"}, {"name": "B", "line": "finish"}], "gates_driver": driver,
    }  # fmt: skip
    return rig_from_table(table, file="rig.toml")


def judged(gate: str = "", said: list[str] | None = None, opener: Any = open_driver, **options: object) -> Judged:
    say = (said if said is not None else []).append
    if gate:
        return straws(rig(**options), gate, opener=opener, place="rig.toml", say=say)
    return ripples(rig(**options), opener=opener, place="rig.toml", say=say)


def test_a_good_gate_sees_each_straw_and_every_call_is_said_in_its_time() -> None:
    said: list[str] = []
    assert judged("B", said).passed
    assert "Gate B: pass a straw of 6 mm" in said[0]
    assert said[1:] == [f"  now: pass {number} of 10" for number in range(1, 11)]


def test_light_past_the_straw_fails_and_the_other_gate_does_not() -> None:
    one = judged("A", light_ratio=[18.0])
    assert not one.passed
    assert any(sentence.startswith("not seen: pass ") for sentence in one.found)
    assert judged("B", light_ratio=[18.0]).passed


def test_a_beam_of_too_little_light_passes_neither_straws_nor_ripples() -> None:
    assert not judged("A", light_ratio=[0.9]).passed
    calm = judged(light_ratio=[0.9])
    assert not calm.passed, "it never broke, because it never was clear"
    assert "gate A: it is broken and does not clear" in calm.found


def test_ripples_below_the_beams_pass_and_crests_that_reach_them_fail() -> None:
    assert judged().passed
    high = judged(above_water_mm=8.0, ripples_mm=12.0)
    assert not high.passed
    assert "raise the beams" in high.cure


class Around:
    """A driver around another one, whose records it changes."""

    def __init__(self, driver: Any) -> None:
        self.driver, self.name = driver, driver.name

    def __enter__(self) -> Self:
        self.driver.__enter__()
        return self

    def __exit__(self, *error: object) -> None:
        self.driver.__exit__(*error)

    def ask(self, **asked: Any) -> None:
        self.driver.ask(**asked)


def test_pins_exchanged_in_the_rig_file_are_found_by_the_straw() -> None:
    class Exchanged(Around):
        """Two wires in each other's place: the driver calls A what is B."""

        def records(self, stop: Any) -> Iterator[Any]:
            for record in self.driver.records(stop):
                is_edge = isinstance(record, Edge)
                yield Edge(record.t_ns, "BA"["AB".index(record.gate)], record.blocked, "gates") if is_edge else record

    found = judged("A", opener=lambda *a, **k: Exchanged(open_driver(*a, **k)))
    assert not found.passed
    assert "the beam of gate B was broken as well, 10 times" in found.found


def test_silence_before_the_end_is_never_taken_for_calm() -> None:
    found = judged(length_s=20.0)
    assert not found.passed
    assert found.found[0] == "the gates fell silent before the end"


@pytest.mark.parametrize("gate", ["", "A"])
def test_a_source_that_complains_fails_whatever_it_counted(gate: str) -> None:
    class Complains(Around):
        """Says in the middle that it may have lost something."""

        def records(self, stop: Any) -> Iterator[Any]:
            for number, record in enumerate(self.driver.records(stop)):
                yield record
                if number == 200 and isinstance(record, Quiet):
                    yield Fault(record.t_ns + 1, "gates", "3 edges were lost", "see its cable", lasting=False)

    found = judged(gate, opener=lambda *a, **k: Complains(open_driver(*a, **k)))
    assert not found.passed
    assert "gates: 3 edges were lost" in found.found
    assert found.cure == "see its cable"


def test_a_device_that_cannot_be_opened_fails_with_its_reason() -> None:
    found = judged("A", gates=[])
    assert not found.passed
    assert "found no gates" in found.found[0]
