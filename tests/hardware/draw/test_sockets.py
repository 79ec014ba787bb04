"""Nothing can be plugged in wrongly, and the header is the header."""

from __future__ import annotations

import pytest
from gpiozero.pins.pi import PiBoardInfo

from hardware.draw.sockets import PINS, SOCKETS, uses


@pytest.mark.parametrize("revision", [0xA02082, 0xC03111, 0xC04170])  # a Pi 3B, 4B, 5
def test_the_header_is_the_one_that_gpiozero_knows(revision: int) -> None:
    theirs = PiBoardInfo.from_revision(revision).headers["J8"].pins
    words = {"3V3": "3.3 V", "5V": "5 V", "GND": "ground"}
    assert {number: words.get(pin.name, pin.name) for number, pin in theirs.items()} == PINS


def test_only_what_is_alike_has_the_same_number_of_poles() -> None:
    """A round plug does not fit a socket with another number of poles."""
    for a in SOCKETS:
        for b in SOCKETS:
            if a.poles_count == b.poles_count and a != b:
                assert (a.goes_to, a.poles) == (b.goes_to, b.poles)


def test_every_pole_is_spoken_for_and_ground_never_meets_a_supply() -> None:
    for socket in SOCKETS:
        assert list(socket.poles) == list(range(1, socket.poles_count + 1))
    for socket in SOCKETS[:4]:
        assert socket.poles[1] == "ground"
        assert socket.poles[2].startswith(("3.3 V", "5 V"))


def test_each_pin_has_one_use_and_supplies_lie_on_supply_pins() -> None:
    used = uses()
    assert len(used) == len(set(used.values())) == 11
    for number, what in used.items():
        if what.endswith("of the box") or "of the box," in what:
            assert what.startswith(PINS[number])
        else:
            assert PINS[number].startswith("GPIO")


def test_pins_that_speak_at_start_or_serve_others_stay_free() -> None:
    """0 and 1 belong to add-on boards, 2 and 3 have fixed pull-ups, 14 and 15 are the console (Pi documentation)."""
    taken = {PINS[number] for number in uses()}
    assert not taken & {f"GPIO{n}" for n in (0, 1, 2, 3, 14, 15)}
