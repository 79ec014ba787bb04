"""The import contracts of pyproject.toml hold, and each of them refuses a wrong import."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

# (contract that must refuse, module that is given the import, the import)
WRONG_IMPORTS = (
    ("floors", "logger/config.py", "from logger.results.trial import Trial"),
    ("floors", "logger/records.py", "from logger.errors import InputError"),
    ("floors", "logger/recording/folder.py", "import logger.station"),
    ("floors", "logger/vision/track.py", "import logger.drivers.interface"),
    ("floors", "logger/drivers/interface.py", "import logger.vision.track"),
    ("floors", "logger/utils.py", "A_FLOOR_THAT_NOBODY_PLANNED = True"),
    ("calibration-below-all", "calibration/lens.py", "from logger.errors import InputError"),
    ("calibration-below-all", "calibration/quantity.py", "def late() -> None:\n    import logger.config"),
    ("hardware-behind-the-border", "logger/results/trial.py", "import gpiozero"),
    ("hardware-behind-the-border", "logger/station/__init__.py", "def late() -> None:\n    import serial"),
    ("hardware-behind-the-border", "calibration/lens.py", "import gpiod"),
    ("drivers-are-strangers", "logger/drivers/second_of_two.py", "import logger.drivers.first_of_two"),
    ("simulator-shares-no-measuring", "logger/simulator/__init__.py", "from calibration.lens import Lens"),
    ("simulator-shares-no-measuring", "logger/simulator/__init__.py", "import logger.vision.track"),
    ("measuring-never-simulates", "logger/results/trial.py", "import logger.simulator"),
    ("measuring-never-simulates", "logger/recording/folder.py", "import logger.drivers.interface"),
    ("measuring-has-no-clock", "logger/vision/track.py", "import time"),
    ("measuring-has-no-clock", "logger/results/trial.py", "import threading"),
    ("measuring-has-no-clock", "calibration/quantity.py", "from random import random"),
)


def lint(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = "from importlinter.cli import lint_imports_command as lint; lint()"
    return subprocess.run(
        [sys.executable, "-c", command, "--no-cache", "--no-logo", *options],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def a_copy(project: Path, tmp_path: Path) -> Path:
    for package in ("logger", "calibration"):
        shutil.copytree(project / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(project / "pyproject.toml", tmp_path)
    (tmp_path / "logger/drivers/first_of_two.py").touch()
    return tmp_path


def test_the_project_keeps_all_contracts(project: Path) -> None:
    done = lint(project)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


@pytest.mark.parametrize(("contract", "module", "line"), WRONG_IMPORTS)
def test_a_wrong_import_is_refused(a_copy: Path, contract: str, module: str, line: str) -> None:
    with (a_copy / module).open("a", encoding="utf-8") as file:
        file.write(f"\n{line}\n")
    done = lint(a_copy, "--contract", contract)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "BROKEN" in done.stdout or "Missing layers" in done.stdout
