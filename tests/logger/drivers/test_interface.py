"""The border to the hardware is what our own drivers offer: mypy holds them to it, and so does this."""

from __future__ import annotations

import inspect
from importlib import import_module

import pytest

from logger.drivers import DRIVERS
from logger.drivers.interface import Driver


@pytest.mark.parametrize("kind", DRIVERS)
def test_every_driver_has_the_methods_of_the_border(kind: str) -> None:
    module, _, name = DRIVERS[kind].partition(":")
    driver = getattr(import_module(module), name)
    for method in ("records", "__enter__"):
        wanted = list(inspect.signature(getattr(Driver, method)).parameters)
        assert list(inspect.signature(getattr(driver, method)).parameters) == wanted
    inspect.signature(driver.__exit__).bind("self", None, None, None)
