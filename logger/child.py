"""Processes that do our work end with us, also if we are killed."""

from __future__ import annotations

import os
from multiprocessing import parent_process
from threading import Thread


def end_with_parent() -> None:
    """In a process of the pool: if its parent is killed it ends, too, instead of waiting for work for ever."""

    def watch() -> None:
        parent = parent_process()
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=watch, name="end-with-parent", daemon=True).start()
