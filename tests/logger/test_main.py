from __future__ import annotations

import subprocess
import sys

import logger.__main__
from logger import __version__
from logger.cli import main


def test_the_installed_command_and_python_m_are_the_same_program() -> None:
    assert logger.__main__.main is main
    command = [sys.executable, "-m", "logger", "--version"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == f"boatrun {__version__}\n"
