"""Parts, nets and printed values."""

from __future__ import annotations

import pytest

from hardware.draw.circuit import Circuit, Part, joined, two


@pytest.mark.parametrize(
    ("printed", "si"),
    [("10 kΩ", 1e4), ("4.7 kΩ", 4700), ("100 Ω", 100), ("1 nF", 1e-9), ("47 µF", 47e-6), ("30 mA", 0.03)],
)
def test_a_value_is_read_as_it_is_printed(printed: str, si: float) -> None:
    assert two("R1", "resistor", "A", "B", value=printed).si == pytest.approx(si, rel=1e-12)


def test_a_value_that_cannot_be_read_is_told_with_its_part() -> None:
    with pytest.raises(ValueError, match="R7: value is '10k'; a number with"):
        _ = two("R7", "resistor", "A", "B", value="10k").si


def test_nets_hold_what_is_drawn_and_nothing_else() -> None:
    cable = Part("cable", "capacitor", {"a": "A", "b": "B"}, value="1 nF", drawn=False)
    circuit = joined("x", "X", (two("R1", "resistor", "A", "B"), two("R2", "resistor", "B", "C"), cable))
    assert circuit.nets() == {
        "A": frozenset({("R1", "a")}),
        "B": frozenset({("R1", "b"), ("R2", "a")}),
        "C": frozenset({("R2", "b")}),
    }


def test_a_name_may_not_occur_twice() -> None:
    with pytest.raises(ValueError, match="x: R1: named twice"):
        joined("x", "X", (two("R1", "resistor", "A", "B"),), (two("R1", "resistor", "B", "C"),))


def test_a_part_that_is_not_there_is_told() -> None:
    circuit = Circuit("x", "X", (two("R1", "resistor", "A", "B", value="1 kΩ"),))
    with pytest.raises(KeyError, match="x: there is no part 'R2'"):
        circuit["R2"]
    with pytest.raises(KeyError, match="there is no part 'R2'"):
        circuit.with_values({"R2": "1 kΩ"})
    assert circuit.with_values({"R1": "2 kΩ"})["R1"].si == 2000
