from __future__ import annotations

import ctypes
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger import __version__
from logger.checkup.machine import Machine, clock_is_led, findings, slept_ns, software
from logger.drivers.interface import Finding

WELL = Machine(
    vcgencmd=None, wall=lambda: datetime(2027, 3, 1, 9, 30, tzinfo=UTC), is_clock_led=lambda: True,
    asleep_ns=lambda: 12, load=lambda: 0.3, processors_count=4, is_64_bit=True,
)  # fmt: skip


@pytest.fixture
def well(tmp_path: Path) -> Machine:
    """A cool computer with enough of everything, in a folder."""
    zone = tmp_path / "sys/class/thermal/thermal_zone0"
    zone.mkdir(parents=True)
    (zone / "type").write_text("cpu-thermal\n")
    (zone / "temp").write_text("48312\n")
    (tmp_path / "proc").mkdir()
    (tmp_path / "proc/meminfo").write_text("MemTotal: 4000000 kB\nMemAvailable:    2500000 kB\n")
    return replace(WELL, root=tmp_path)


def found(machine: Machine, part: str) -> Finding:
    (one,) = [finding for finding in findings(machine) if finding.part == f"computer: {part}"]
    return one


def firmware(machine: Machine, word: str) -> None:
    file = machine.root / "sys/devices/platform/soc/soc:firmware/get_throttled"
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(word + "\n")


def test_a_good_computer_has_no_doubts(well: Machine) -> None:
    firmware(well, "0")
    told = list(findings(well))
    assert {finding.health for finding in told} == {"well"}
    assert [finding.part.removeprefix("computer: ") for finding in told] == [
        "heat", "power", "date", "sleep", "load", "memory", "software",
    ]  # fmt: skip


def test_the_hottest_zone_is_told_and_zones_without_a_sensor_are_not(well: Machine) -> None:
    """Thousandths of a degree: the kernel's thermal sysfs interface."""
    for number, (kind, temp) in enumerate([("gpu", "81900"), ("battery", "-273000"), ("nvme", "0"), ("odd", "x")], 1):
        zone = well.root / f"sys/class/thermal/thermal_zone{number}"
        zone.mkdir()
        (zone / "type").write_text(kind)
        (zone / "temp").write_text(temp)
    told = found(well, "heat")
    assert (told.health, told.found) == ("doubtful", "82 degrees C at gpu")
    assert "air" in told.cure


@pytest.mark.parametrize(
    ("word", "health", "power", "speed"),
    [
        ("0", "well", "enough voltage since it was switched on", None),
        ("1", "wrong", "too little voltage now", None),
        ("50000", "doubtful", "too little voltage at some time since it was switched on", "it was slowed down since"),
        ("50005", "wrong", "too little voltage now", "it is slowed down now"),
        ("80008", "well", "enough voltage since it was switched on", "it is near its heat limit now"),
        ("20002", "well", "enough voltage since it was switched on", "its processors are held back now"),
    ],
)
def test_the_firmwares_bits_are_read_as_documented(
    well: Machine, word: str, health: str, power: str, speed: str | None
) -> None:
    """Raspberry Pi documentation, get_throttled: 0 undervoltage, 1 capped, 2 throttled, 3 soft limit; 16-19 since."""
    firmware(well, word)
    assert (found(well, "power").health, found(well, "power").found) == (health, power)
    slow = [finding for finding in findings(well) if finding.part == "computer: speed"]
    assert bool(slow) == (speed is not None)
    if speed is not None:
        assert slow[0].found.startswith(speed)
        assert slow[0].health == "doubtful"


def test_the_firmwares_own_command_is_asked_first(well: Machine, tmp_path: Path) -> None:
    command = tmp_path / "vcgencmd"
    command.write_text('#!/bin/sh\n[ "$1" = get_throttled ] && echo throttled=0x50005\n')
    command.chmod(0o755)
    firmware(well, "0")
    assert found(replace(well, vcgencmd=str(command)), "power").health == "wrong"
    command.write_text("#!/bin/sh\nexit 255\n")
    assert found(replace(well, vcgencmd=str(command)), "power").health == "well"


def test_another_computer_says_nothing_of_its_power(well: Machine) -> None:
    assert "computer: power" not in {finding.part for finding in findings(well)}
    firmware(well, "not a number")
    assert "computer: power" not in {finding.part for finding in findings(well)}


def test_a_clock_that_was_never_set_is_told_by_its_date(well: Machine) -> None:
    told = found(replace(well, wall=lambda: datetime(1970, 1, 1, 0, 3, tzinfo=UTC)), "date")
    assert told.health == "doubtful"
    assert "never set" in told.found
    assert "phone" in told.cure


def test_a_clock_that_nobody_keeps_right_is_doubtful_and_one_that_does_not_say_is_not(well: Machine) -> None:
    free = found(replace(well, is_clock_led=lambda: False), "date")
    assert free.health == "doubtful"
    assert "times within a run are not touched" in free.found
    assert found(replace(well, is_clock_led=lambda: None), "date").health == "well"


def test_sleep_load_memory_and_small_words_are_doubtful(well: Machine) -> None:
    slept = found(replace(well, asleep_ns=lambda: 3_250_000_000), "sleep")
    assert (slept.health, slept.found) == ("doubtful", "it has slept for 3.250 s since it was switched on")
    assert found(replace(well, load=lambda: 3.3), "load").health == "doubtful"
    assert found(replace(well, load=lambda: 3.1), "load").health == "well"
    (well.root / "proc/meminfo").write_text("MemAvailable:    150000 kB\n")
    assert found(well, "memory").found == "154 MB are free"
    assert found(well, "memory").health == "doubtful"
    assert found(replace(well, is_64_bit=False), "software").health == "doubtful"


def test_this_computers_clock_is_asked_of_the_kernel() -> None:
    """adjtimex(2) with no mode returns the clock's state, TIME_ERROR (5) where STA_UNSYNC is set."""
    room = ctypes.create_string_buffer(512)
    state = ctypes.CDLL(None).adjtimex(room)
    assert clock_is_led() == (None if state < 0 else state != 5)


def test_sleep_is_the_difference_of_two_clocks() -> None:
    told_ns = slept_ns()
    expected_ns = time.clock_gettime_ns(time.CLOCK_BOOTTIME) - time.clock_gettime_ns(time.CLOCK_MONOTONIC)
    assert abs(told_ns - expected_ns) < 5_000_000


def test_the_software_is_named_with_its_versions() -> None:
    import numpy as np

    told = software()
    assert told["boatrun"] == __version__
    assert told["numpy"] == np.__version__
    assert "no such library" not in told
