from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

PARENT = """
import multiprocessing, signal, sys
from logger.child import end_with_parent

def work(pid):
    end_with_parent()
    import os
    open(pid, "w").write(str(os.getpid()))
    signal.pause()

if __name__ == "__main__":
    context = multiprocessing.get_context("spawn")
    context.Process(target=work, args=(sys.argv[1],)).start()
    signal.pause()
"""


def test_a_process_ends_when_its_parent_is_killed(tmp_path: Path) -> None:
    pause = threading.Event()
    script, told = tmp_path / "parent.py", tmp_path / "pid"
    script.write_text(PARENT, encoding="utf-8")
    parent = subprocess.Popen([sys.executable, str(script), str(told)])
    until_s = time.monotonic() + 60
    while not (told.exists() and told.read_text(encoding="utf-8")) and time.monotonic() < until_s:
        pause.wait(0.05)
    child = int(told.read_text(encoding="utf-8"))
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    while is_there(child) and time.monotonic() < until_s:
        pause.wait(0.05)
    assert not is_there(child), "the child outlived its parent"


def is_there(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True
