"""What the instructions say to write works as written."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from logger.drivers import open_driver
from logger.drivers.serial_gates import SerialGates


@pytest.mark.parametrize("page", ["hardware/firmware/README.md"])
def test_the_lines_for_the_rig_file_open_a_driver(project: Path, page: str) -> None:
    (block,) = re.findall(r"```toml\n(.*?)```", (project / page).read_text(encoding="utf-8"), re.DOTALL)
    choice = tomllib.loads(block)["gates_driver"]
    assert isinstance(open_driver(choice["kind"], choice["options"]), SerialGates)
