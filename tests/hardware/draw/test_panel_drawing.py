"""The drawing of the panel names every pin of the panel."""

from __future__ import annotations

import pytest

from hardware.draw import circuits

pytest.importorskip("schemdraw", reason="schemdraw is not installed: pip install '.[hardware]'")

from hardware.draw.gate_drawings import HEADER
from hardware.draw.panel_drawing import panel


def test_every_pin_stands_there_with_its_place_on_the_header() -> None:
    svg = panel(circuits.panel()).svg()
    pins = [*circuits.BUTTON_PINS.values(), circuits.LAMP_PIN, circuits.BUZZER_PIN, circuits.LIGHT_PIN]
    for pin in pins:
        assert f"GPIO{pin}, header {HEADER[pin]}" in svg
