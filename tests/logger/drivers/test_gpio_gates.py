"""Gates on pins, in a world whose time moves only when the driver waits."""

from __future__ import annotations

import tempfile
import threading
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.drivers.gpio_gates import (
    BATCH_COUNT,
    BURST_COUNT,
    EDGES_PER_S,
    LOOK_EVERY_S,
    GpioGates,
    GpioGatesOptions,
)
from logger.drivers.interface import Finding
from logger.errors import DriverError
from logger.records import Edge, Fault, Quiet
from tests.logger.drivers.fake_kernel import BEGINS_NS, Controller, Kernel, World

MS = 1_000_000
A, B = 17, 27


@pytest.fixture
def world(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> World:
    world = World()
    world.kernel = Kernel(tmp_path / "dev", monkeypatch)
    world.kernel.plug_in(world.controller)
    return world


def gates(world: World, **more: Any) -> GpioGates:
    options = GpioGatesOptions(**{"pins": {"A": A, "B": B}, "blocked_is": "low", **more})
    return GpioGates(options, name="gates", clock=lambda: world.now_ns, wait=world.wait)


def told(world: World, **more: Any) -> list[Any]:
    with gates(world, **more) as driver:
        return list(driver.records(world.stop))


def edges_and_faults(records: list[Any]) -> list[Edge | Fault]:
    return [record for record in records if not isinstance(record, Quiet)]


def test_a_boat_through_two_beams(world: World) -> None:
    stamps = [
        world.drive(200, A, False),
        world.drive(320, A, True),
        world.drive(900, B, False),
        world.drive(999, B, True),
    ]
    world.stop_at(1200)
    assert edges_and_faults(told(world)) == [
        Edge(stamps[0], "A", True, "gates", 1),
        Edge(stamps[1], "A", False, "gates", 2),
        Edge(stamps[2], "B", True, "gates", 1),
        Edge(stamps[3], "B", False, "gates", 2),
    ]


def test_polarity_and_pull_are_the_rigs(world: World) -> None:
    broke_ns = world.drive(200, A, True)
    world.stop_at(400)
    records = edges_and_faults(told(world, blocked_is="high", pull="down"))
    assert records == [Edge(broke_ns, "A", True, "gates", 1)]


def test_edges_read_just_before_leaving_are_told(world: World) -> None:
    world.stop_at(300)
    broke_ns = world.drive(300, A, False)
    assert edges_and_faults(told(world)) == [Edge(broke_ns, "A", True, "gates", 1)]


def test_two_beams_whose_edges_were_queued_the_wrong_way_round_are_told_in_order(world: World) -> None:
    def both() -> None:
        with world.controller.busy():
            world.controller.drive(B, False)  # B's thread runs after A's, though B broke first
            world.now_ns += 5_000
            world.controller.drive(A, False)

    world.at(200, both)
    world.stop_at(400)
    records = edges_and_faults(told(world))
    assert [(record.gate, record.t_ns) for record in records if isinstance(record, Edge)] == [
        ("B", BEGINS_NS + 200 * MS), ("A", BEGINS_NS + 200 * MS + 5_000),
    ]  # fmt: skip


def test_an_edge_that_a_busy_kernel_queued_30_ms_late_still_finds_its_place(world: World) -> None:
    def note_only() -> None:
        world.controller.threads_stand_still = True
        world.controller.drive(B, False)
        world.controller.threads_stand_still = False

    world.at(190, note_only)
    world.drive(195, A, False)
    world.at(220, world.controller.run_threads)
    world.stop_at(400)
    records = edges_and_faults(told(world))
    assert [(record.gate, record.t_ns - BEGINS_NS) for record in records if isinstance(record, Edge)] == [
        ("B", 190 * MS), ("A", 195 * MS),
    ]  # fmt: skip
    assert len(records) == 2


def test_a_beam_that_breaks_while_the_gates_are_opened_is_told_once(world: World) -> None:
    world.controller.when_requested = lambda _: world.controller.drive(A, False)
    world.stop_at(400)
    (edge,) = edges_and_faults(told(world))
    assert edge == Edge(BEGINS_NS, "A", True, "gates", 1)


def test_a_beam_that_is_broken_already_is_said_at_once_so_that_nobody_arms(world: World) -> None:
    world.controller.drive(B, False)
    cleared_ns = world.drive(500, B, True)
    world.stop_at(700)
    fault, first, second = edges_and_faults(told(world))
    assert isinstance(fault, Fault)
    assert fault.what == "gate B: the beam is broken already as the gates are opened"
    assert 'turn "blocked_is" round' in fault.cure
    assert (first.gate, first.blocked, first.count) == ("B", True, 0)  # type: ignore[union-attr]
    assert first.t_ns - BEGINS_NS < MS
    assert second == Edge(cleared_ns, "B", False, "gates", 1)


def test_changes_that_the_kernel_ran_together_are_said(world: World) -> None:
    def twice() -> None:
        with world.controller.busy():
            world.controller.drive(A, False)
            world.now_ns += 1000
            world.controller.drive(A, True)

    world.at(200, twice)
    world.stop_at(400)
    fault, edge = edges_and_faults(told(world))
    assert isinstance(fault, Fault)
    assert fault.what == "gate A: changes ran together into 1 edge"
    assert edge == Edge(BEGINS_NS + 200 * MS + 1000, "A", False, "gates", 1)


def test_a_gate_that_went_deaf_is_found_by_its_level(world: World) -> None:
    def deaf() -> None:
        world.controller.lines[A].request.push = lambda *_: None  # type: ignore[union-attr, method-assign, assignment]

    world.at(100, deaf)
    world.drive(200, A, False)
    world.drive(500, A, True)
    world.stop_at(800)
    faults = edges_and_faults(told(world))
    assert [fault.what for fault in faults] == ["gate A: the level changed without an edge"] * 2  # type: ignore[union-attr]


def test_a_reader_that_was_starved_keeps_1024_edges_and_says_how_many_it_lost(world: World) -> None:
    def storm() -> None:
        for number in range(1500):
            world.now_ns += 10_000
            world.controller.drive(A, number % 2 == 1)

    world.at(200, storm)
    world.stop_at(1200)
    records = edges_and_faults(told(world))
    edges = [record for record in records if isinstance(record, Edge)]
    assert [edge.count for edge in edges] == list(range(1500 - 1024 + 1, 1501))
    lost = records[0]
    assert isinstance(lost, Fault)
    assert lost.what == f"gate A: {1500 - 1024} edges lost"
    assert lost.since_ns == BEGINS_NS
    assert any("the beam flickers" in record.what for record in records if isinstance(record, Fault))


def storm_of(world: World, *, per_s: int, for_s: float) -> int:
    """A flickering beam, in packets of a millisecond; returns how many edges."""
    per_ms = per_s // 1000
    level = [True]

    def packet() -> None:
        for _ in range(per_ms):
            level[0] = not level[0]
            world.now_ns += 1_000_000 // per_ms
            world.controller.drive(A, level[0])

    for ms in range(round(for_s * 1000)):
        world.at(100 + ms, packet)
    return per_ms * round(for_s * 1000)


def test_a_storm_of_100_000_edges_a_second_gets_only_its_allowance_and_breathes(world: World) -> None:
    """The work is bounded, and between two batches the other threads (a camera) have their turn."""
    made_count = storm_of(world, per_s=100_000, for_s=3.0)
    world.stop_at(3100)
    records = told(world)
    edges = [record for record in records if isinstance(record, Edge)]
    faults = [record for record in records if isinstance(record, Fault)]
    assert len(edges) <= 3 * BURST_COUNT + 3.2 * EDGES_PER_S
    lost_count = sum(int(word) for f in faults for word in f.what.split() if word.isdigit() and " lost" in f.what)
    assert len(edges) + lost_count >= made_count - BURST_COUNT
    assert len(faults) < 60
    assert max(later - earlier for earlier, later in pairwise(world.reads_counts)) <= BATCH_COUNT
    stamps = [record.t_ns for record in records]
    assert stamps == sorted(stamps)
    assert max(later - earlier for earlier, later in pairwise(stamps)) <= 100 * MS


@pytest.mark.parametrize("per_s", [8_000, 100_000])
def test_in_a_storm_it_still_tells_what_it_read_and_obeys_stop(world: World, per_s: int) -> None:
    storm_of(world, per_s=per_s, for_s=2.0)
    world.stop_at(1000)
    with gates(world) as driver:
        lags_ns = [world.now_ns - record.t_ns for record in driver.records(world.stop) if not world.stop.is_set()]
    assert max(lags_ns) < 250 * MS
    assert world.now_ns - BEGINS_NS < 1100 * MS


def test_edges_that_had_to_wait_for_the_allowance_are_not_too_late(world: World) -> None:
    storm_of(world, per_s=8000, for_s=2.0)  # the kernel's buffer holds 128 ms of it
    world.stop_at(2200)
    faults = [record.what for record in told(world) if isinstance(record, Fault)]
    assert not any("too late" in what for what in faults)
    assert any("lost" in what for what in faults)
    assert any("read more than 50 ms late" in what for what in faults)


def test_an_unplugged_controller_ends_with_what_was_read_before(world: World) -> None:
    broke_ns = world.drive(200, A, False)
    world.at(230, world.controller.pull_out)
    edge, fault = edges_and_faults(told(world))
    assert edge == Edge(broke_ns, "A", True, "gates", 1)
    assert isinstance(fault, Fault)
    assert fault.lasting
    assert fault.what.startswith("the pins cannot be read any more")
    assert fault.since_ns is not None
    assert BEGINS_NS + 210 * MS <= fault.since_ns <= BEGINS_NS + 230 * MS


def test_stamps_of_another_clock_make_no_edges(world: World) -> None:
    world.controller.stamps_off_by_ns = 1_700_000_000_000_000_000  # the wall clock's, in 2023
    world.drive(200, A, False)
    world.stop_at(400)
    (fault,) = edges_and_faults(told(world))
    assert isinstance(fault, Fault)
    assert "1 edge stamped by another clock" in fault.what


def test_it_is_soon_deaf_to_nothing(world: World) -> None:
    world.stop_at(400)
    told(world)
    assert max(world.waited_s) <= LOOK_EVERY_S <= 0.2


class TestSelfTest:
    def findings(self, world: World, driver: GpioGates) -> dict[str, Finding]:
        world.wait(0.05)
        return {finding.part: finding for finding in driver.self_test()}

    def test_a_beam_has_to_be_seen_both_ways(self, world: World) -> None:
        with gates(world) as driver:
            found = self.findings(world, driver)
            assert found["gate reader"].health == "well"
            assert found["gate A"].health == "doubtful"
            assert "was not seen broken" in found["gate A"].found
            world.drive(100, A, False)
            world.drive(200, A, True)
            world.wait(0.25)
            found = self.findings(world, driver)
            assert found["gate A"] == Finding(
                "gate A", "well", "clear, and was seen both ways; 2 edges since the opening"
            )
            assert found["gate B"].health == "doubtful"

    def test_a_gate_that_was_proven_once_stays_so_when_it_is_opened_again(self, world: World) -> None:
        driver = gates(world)
        with driver:
            world.drive(10, A, False)
            world.drive(20, A, True)
            self.findings(world, driver)
        with driver:
            found = self.findings(world, driver)
        assert (found["gate A"].health, found["gate B"].health) == ("well", "doubtful")

    def test_it_may_be_asked_while_another_thread_hears_the_records(self, world: World) -> None:
        """Each of the two reads edges; together they tell each edge once, in order."""
        stop, heard, pause = threading.Event(), [], threading.Event()
        controller = Controller("pinctrl-rp1")
        world.kernel.plug_in(controller)
        with GpioGates(GpioGatesOptions({"A": A, "B": B}, "low"), name="gates") as driver:
            thread = threading.Thread(target=lambda: heard.extend(driver.records(stop)))
            thread.start()
            for number in range(200):
                controller.drive(A, number % 2 == 1)
                pause.wait(0.0005)
                assert driver.self_test()
            stop.set()
            thread.join()
        assert [record.count for record in heard if isinstance(record, Edge)] == list(range(1, 201))
        assert not any("lost" in record.what for record in heard if isinstance(record, Fault))

    def test_a_beam_that_was_never_clear_is_wrong(self, world: World) -> None:
        with gates(world, blocked_is="high") as driver:
            found = self.findings(world, driver)["gate A"]
        assert (found.health, found.found) == ("wrong", "the beam is broken and was never seen clear")
        assert 'turn "blocked_is" round' in found.cure

    def test_a_beam_that_is_broken_now_is_doubtful(self, world: World) -> None:
        with gates(world) as driver:
            world.controller.drive(A, False)
            assert self.findings(world, driver)["gate A"] == Finding(
                "gate A", "doubtful", "the beam is broken", "clear it before the run"
            )

    def test_a_beam_that_flickers_is_wrong(self, world: World) -> None:
        with gates(world) as driver:
            storm_of(world, per_s=1000, for_s=0.5)
            world.controller.drive(A, True)
            assert self.findings(world, driver)["gate B"].health == "doubtful"
            world.wait(0.6)
            world.controller.drive(A, True)
            assert self.findings(world, driver)["gate A"].found == "the beam flickers"

    def test_edges_that_it_read_are_not_lost_to_the_recording(self, world: World) -> None:
        broke_ns = world.drive(10, A, False)
        world.stop_at(300)
        with gates(world) as driver:
            world.wait(0.05)
            driver.self_test()
            assert edges_and_faults(list(driver.records(world.stop))) == [Edge(broke_ns, "A", True, "gates", 1)]

    def test_a_controller_that_has_gone_is_wrong(self, world: World) -> None:
        with gates(world) as driver:
            world.controller.pull_out()
            assert [finding.health for finding in driver.self_test()] == ["wrong"]


def test_no_gate_is_refused(world: World) -> None:
    with pytest.raises(DriverError, match=r"gates: no gate is named; .*write pins = "):
        gates(world, pins={}).__enter__()


def test_two_gates_on_one_pin_are_refused(world: World) -> None:
    with pytest.raises(DriverError, match=r"gates: gate A and gate B are both on pin 17"):
        gates(world, pins={"A": 17, "B": 17}).__enter__()


def test_a_driver_outside_with_says_so(world: World) -> None:
    with pytest.raises(DriverError, match=r"gates: the gates are not open; use them inside `with`"):
        next(iter(gates(world).records(world.stop)))


# --- by law ---

DEEDS = st.lists(
    st.tuples(st.floats(0.001, 60), st.sampled_from([A, B]), st.sampled_from(["flip", "flip", "flip", "glitch"])),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(DEEDS)
def test_every_change_on_the_wire_is_an_edge_or_is_covered_by_a_fault(deeds: list[tuple[float, int, str]]) -> None:
    with pytest.MonkeyPatch.context() as monkeypatch, tempfile.TemporaryDirectory() as folder:
        world = World()
        Kernel(Path(folder) / "dev", monkeypatch).plug_in(world.controller)
        ms = 100.0
        for gap_ms, pin, deed in deeds:
            ms += gap_ms
            world.at(ms, lambda pin=pin, deed=deed: flip(world, pin, glitch=deed == "glitch"))  # type: ignore[misc]
        world.stop_at(ms + 200)
        records = told(world)
        wire = {gate: world.controller.lines[pin].history for gate, pin in (("A", A), ("B", B))}
    stamps = [record.t_ns for record in records]
    assert stamps == sorted(stamps)
    faults = [record for record in records if isinstance(record, Fault) and record.since_ns is not None]
    edges = {(record.gate, record.t_ns, record.blocked) for record in records if isinstance(record, Edge)}
    for gate, history in wire.items():
        for t_ns, high in history:
            if t_ns > BEGINS_NS and (gate, t_ns, not high) not in edges:
                assert any(f"gate {gate}" in f.what and f.since_ns <= t_ns <= f.t_ns for f in faults)  # type: ignore[operator]


def flip(world: World, pin: int, *, glitch: bool) -> None:
    line = world.controller.lines[pin]
    if not glitch:
        world.controller.drive(pin, not line.level)
        return
    with world.controller.busy():
        world.controller.drive(pin, not line.level)
        world.now_ns += 100
        world.controller.drive(pin, not line.level)
