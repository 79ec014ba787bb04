"""What every test may use: one thread per process, repeatable Hypothesis, and where outside data lie."""

from __future__ import annotations

import os

# Before NumPy and OpenCV start threads of their own: several test processes share the machine.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(_variable, "1")

from pathlib import Path  # noqa: E402

import pytest  # noqa: E402
from hypothesis import HealthCheck, settings  # noqa: E402

settings.register_profile("repeatable", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("exploring", deadline=None, max_examples=300)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

PROJECT = Path(__file__).resolve().parents[1]
NOTE_SKIPPED = os.environ.get("BOATRUN_NOTE_SKIPPED", "")
"""A file that is to name every test that was skipped, a line each, so that they can be run where more is installed."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """For `-n auto`, one more than there are processors: many tests wait, for a run, a page or a program, as people
    do."""
    return (os.cpu_count() or 1) + 1


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Tests skipped by themselves."""
    _note(report)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """Whole files."""
    _note(report)


def _note(report: pytest.TestReport | pytest.CollectReport) -> None:
    if NOTE_SKIPPED and report.skipped and not hasattr(report, "wasxfail") and "PYTEST_XDIST_WORKER" not in os.environ:
        with Path(NOTE_SKIPPED).open("a", encoding="utf-8") as file:
            file.write(f"{report.nodeid}\n")


@pytest.fixture(scope="session")
def project() -> Path:
    """The folder that holds pyproject.toml."""
    return PROJECT


@pytest.fixture(scope="session")
def real_data() -> Path:
    """Recordings that nobody of this project made. They are not ours to hand on, so they live elsewhere."""
    named = os.environ.get("BOATRUN_REAL_DATA", "")
    if not named:
        pytest.skip("BOATRUN_REAL_DATA is not set: it names the folder with the outside recordings (DEVELOPERS.md)")
    folder = Path(named)
    if not (folder / "SOURCE.md").is_file():
        pytest.skip(f"BOATRUN_REAL_DATA={named}: no SOURCE.md in that folder, so the outside recordings are not there")
    return folder
