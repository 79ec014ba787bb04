"""The table of drivers: what can be named, and what is said when something cannot."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from logger.drivers import known_drivers, open_driver
from logger.errors import DriverError, InputError
from tests.logger.drivers.conftest import OUTSIDE


def test_an_unknown_kind_is_refused_with_the_list_and_the_nearest() -> None:
    with pytest.raises(InputError, match=r'rig.toml: kind: found "recorded_gate", wanted one of ') as caught:
        open_driver("recorded_gate", {})
    for kind in known_drivers():
        assert f'"{kind}"' in str(caught.value)
    assert str(caught.value).endswith('did you mean "recorded_gates"?')


def test_a_package_cannot_take_the_place_of_another_driver(outside_package: Path) -> None:
    outside_package.write_text("[boatrun.drivers]\nrecorded_gates = metronome_driver:Metronome\n")
    with pytest.raises(DriverError, match=r"'recorded_gates': found .*remove the package .*\(metronome\)"):
        open_driver("recorded_gates", {})


@pytest.mark.parametrize("target", ["metronome_driver:Pendulum", "metronome_of_old:Metronome"])
def test_a_driver_that_cannot_be_loaded_says_what_to_install(outside_package: Path, target: str) -> None:
    outside_package.write_text(f"[boatrun.drivers]\n{OUTSIDE} = {target}\n")
    with pytest.raises(DriverError, match=r"cannot be loaded .*pip install metronome_"):
        open_driver(OUTSIDE, {})


def test_loading_the_table_loads_no_driver() -> None:
    code = "import sys, logger.drivers; print([m for m in sys.modules if m.startswith('logger.drivers.')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
