from __future__ import annotations

import threading
import time
from itertools import pairwise

from logger.drivers.desk_panel import DeskPanel
from logger.drivers.interface import Panel
from logger.records import Fault, Key, Quiet

QUIET_NS = 100_000_000


def heard(panel: DeskPanel, presses: list[str]) -> list[Key | Quiet | Fault]:
    stop, records = threading.Event(), []

    def person() -> None:
        for key in presses:
            panel.press(key)  # type: ignore[arg-type]
        threading.Event().wait(0.25)
        stop.set()

    with panel as there:
        thread = threading.Thread(target=person)
        thread.start()
        records.extend(there.records(stop))
        thread.join()
    return records


def test_presses_come_in_order_with_stamps_of_now_and_no_quiet_is_broken() -> None:
    before_ns = time.monotonic_ns()
    records = heard(DeskPanel(name="desk"), ["arm", "go", "stop"])
    assert [record.key for record in records if isinstance(record, Key)] == ["arm", "go", "stop"]
    stamps = [record.t_ns for record in records]
    assert stamps == sorted(stamps)
    assert max(later - earlier for earlier, later in pairwise(stamps)) <= QUIET_NS
    assert before_ns <= stamps[0] <= stamps[-1] <= time.monotonic_ns()
    promised = -1
    for record in records:
        if isinstance(record, Quiet):
            promised = record.t_ns
        else:
            assert record.t_ns > promised


def test_what_was_pressed_before_a_run_is_not_of_that_run() -> None:
    panel = DeskPanel(name="desk")
    panel.press("stop")
    assert not any(isinstance(record, Key) for record in heard(panel, []))
    assert isinstance(panel, Panel)
