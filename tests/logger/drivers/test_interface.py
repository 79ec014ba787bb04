"""The border to the hardware is what our own drivers offer: mypy holds them to it, and so does this."""

from __future__ import annotations

import inspect
from importlib import import_module

import pytest

from logger.drivers import DRIVERS
from logger.drivers.interface import Driver, Light, Panel, Scale

DOES = {"records": Driver, "show": Panel, "switch": Light, "weigh": Scale}
"""What a device does -> the part of the border that says so."""


@pytest.mark.parametrize("kind", DRIVERS)
def test_every_driver_has_the_methods_of_the_border(kind: str) -> None:
    module, _, name = DRIVERS[kind].partition(":")
    driver = getattr(import_module(module), name)
    does = [method for method in DOES if hasattr(driver, method)]
    assert {"records", "switch", "weigh"} & set(does)
    for method in does:
        wanted = list(inspect.signature(getattr(DOES[method], method)).parameters)
        assert list(inspect.signature(getattr(driver, method)).parameters) == wanted
    assert list(inspect.signature(driver.__enter__).parameters) == ["self"]
    inspect.signature(driver.__exit__).bind("self", None, None, None)
