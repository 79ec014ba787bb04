from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from logger.cli.processes import processors_count, spread, spread_over
from logger.errors import InputError


def squared(number: int) -> tuple[int, int]:
    if number < 0:
        raise ValueError("no such number")
    return number * number, os.getpid()


def test_results_come_in_the_order_of_the_jobs_from_other_processes() -> None:
    found = list(spread(squared, range(6), processes=2))
    assert [square for square, _ in found] == [n * n for n in range(6)]
    assert os.getpid() not in {where for _, where in found}
    assert processors_count() >= 1


def test_one_job_or_one_process_needs_no_other() -> None:
    assert [where for _, where in spread(squared, [3], processes=4)] == [os.getpid()]
    assert {where for _, where in spread(squared, [1, 2], processes=1)} == {os.getpid()}


def test_an_error_comes_out_and_leaves_no_process_behind() -> None:
    with pytest.raises(ValueError, match="no such number"):
        list(spread(squared, [1, -1, 2, 3], processes=2))


PROGRAM = """
import sys, time
from logger.cli.processes import spread
def wait(name):
    open(name, "w").close()
    time.sleep(600)
if __name__ == "__main__":
    list(spread(wait, sys.argv[1:], processes=2))
"""


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_processes_end_with_their_parent(tmp_path: Path, how: signal.Signals) -> None:
    program = tmp_path / "program.py"
    program.write_text(PROGRAM)
    begun = [tmp_path / "a", tmp_path / "b"]
    ran = subprocess.Popen([sys.executable, str(program), *map(str, begun)], start_new_session=True)
    until = time.monotonic() + 60
    while not all(path.exists() for path in begun):
        assert time.monotonic() < until, "the work did not begin"
        threading.Event().wait(0.05)
    ran.send_signal(how)
    ran.wait(30)
    until = time.monotonic() + 30
    while any(str(program) in Path(f"/proc/{pid}/cmdline").read_text() for pid in living(ran.pid)):
        assert time.monotonic() < until, "a process was left behind"
        threading.Event().wait(0.05)


def living(session: int) -> list[int]:
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                if os.getsid(int(entry.name)) == session:
                    found.append(int(entry.name))
            except OSError:
                continue
    return found


def test_a_cluster_that_nobody_answers_for_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("logger.cli.processes._CLUSTER_WAIT_S", 1)
    with pytest.raises(InputError, match=r"tcp://127\.0\.0\.1:9: no Dask scheduler answers there"):
        list(spread_over("tcp://127.0.0.1:9", squared, [1]))
