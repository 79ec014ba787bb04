from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

from logger import __version__
from logger.results import software as module
from logger.results.software import software


def said_by(top: Path) -> str:
    line = "from logger.results.software import software; print(software())"
    return subprocess.run(
        [sys.executable, "-c", line], cwd=top, env={"PYTHONPATH": str(top)}, capture_output=True, text=True, check=True
    ).stdout.strip()


def test_other_code_calls_itself_otherwise(tmp_path: Path) -> None:
    top = Path(module.__file__).parents[2]
    for package in ("logger", "calibration"):
        shutil.copytree(top / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    assert re.fullmatch(rf"boatrun {re.escape(__version__)} \([0-9a-f]{{8}}\)", software())
    assert said_by(tmp_path) == software()
    drift = tmp_path / "logger" / "results" / "drift.py"
    drift.write_text(drift.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert said_by(tmp_path) != software()
