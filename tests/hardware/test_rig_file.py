"""The page about rig files is true: its examples can be read, and it names every option of every device."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

from logger import settings
from logger.cli import COMMANDS
from logger.drivers import DRIVERS, open_driver
from logger.recording.rig_toml import rig_from_table

PAGE = Path(__file__).resolve().parents[2] / "hardware" / "rig_file.md"
TEXT = PAGE.read_text(encoding="utf-8")
FIRMWARE = PAGE.with_name("firmware") / "README.md"
TOML = re.compile(r"```toml\n(.*?)```", re.DOTALL)
EXAMPLES = TOML.findall(TEXT) + TOML.findall(FIRMWARE.read_text(encoding="utf-8"))
REAL = [kind for kind in DRIVERS if not kind.startswith(("simulated_", "recorded_"))]
"""Devices that a makerspace can plug in."""


def drivers_in(table: dict[str, Any]) -> list[dict[str, Any]]:
    named = [value for name, value in table.items() if name.endswith("_driver")]
    return named + ([table["camera"]["driver"]] if "camera" in table else [])


def test_the_whole_rig_can_be_read() -> None:
    rig = rig_from_table(tomllib.loads(EXAMPLES[0]), file=PAGE.name)
    assert len(rig.gates) == 2
    assert rig.camera is not None


@pytest.mark.parametrize("example", EXAMPLES)
def test_every_device_of_an_example_takes_its_options(example: str) -> None:
    choices = drivers_in(tomllib.loads(example))
    assert choices
    for choice in choices:
        options = {name: value for name, value in choice.items() if name != "kind"}
        assert open_driver(choice["kind"], options, name="it").name == "it"


@pytest.mark.parametrize("kind", REAL)
def test_the_page_names_every_device_and_each_of_its_options(kind: str) -> None:
    assert f"`{kind}`" in TEXT or f'kind = "{kind}"' in TEXT
    options = type(open_driver(kind, required(kind), name="it")).Options
    missing = [field.name for field in fields(options) if f"`{field.name}`" not in TEXT]
    assert missing == []


def required(kind: str) -> dict[str, Any]:
    """Options without which a device of this kind cannot be named, from the examples."""
    for example in EXAMPLES:
        for choice in drivers_in(tomllib.loads(example)):
            if choice["kind"] == kind:
                return {name: value for name, value in choice.items() if name != "kind"}
    return {}


def test_every_command_on_the_page_is_one() -> None:
    named = re.findall(r"boatrun (\w+)", TEXT)
    assert named
    assert sorted(set(named) - set(COMMANDS) - {"rig"}) == []


def test_a_misspelt_option_is_noticed() -> None:
    """So that the tests above could fail."""
    with pytest.raises(settings.ConfigError, match="unknown name"):
        open_driver("gpio_light", {"pin": 4, "lit_si": "high"}, name="it")
