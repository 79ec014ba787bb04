"""A program that listens to gate A on line 0 with the driver, so that it can be stopped, starved and sabotaged.

    listen.py CHIP_LABEL gpiod | lgpio [sabotage CHIP_NUMBER]

Says "ready" once it listens; sent a line, it waits until no edge has come for a while and says as JSON what it heard.
With "sabotage" another part of the program listens to line 5 through lgpio, by a callback that raises.
"""

from __future__ import annotations

import json
import sys
import threading
from pathlib import Path
from typing import Literal, cast

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from logger.drivers.gpio_gates import GpioGates, GpioGatesOptions
from logger.records import Fault
from tests.hil.hearing import hearing

QUIET_S = 1.0


def sabotage(number: int) -> object:
    """Listen to line 5, badly."""
    import lgpio

    def bad(chip: int, line: int, level: int, tick_ns: int) -> None:
        raise RuntimeError("not the gates' fault")

    threading.excepthook = lambda _: None
    chip = lgpio.gpiochip_open(number)
    lgpio.gpio_claim_alert(chip, 5, lgpio.BOTH_EDGES)
    return lgpio.callback(chip, 5, lgpio.BOTH_EDGES, bad)


def main(label: str, reader: str, *words: str) -> None:
    which = cast("Literal['gpiod', 'lgpio']", reader)
    options = GpioGatesOptions({"A": 0}, blocked_is="high", pull="down", reader=which, chip=label)
    driver = GpioGates(options, name="gates")
    with hearing(driver) as heard:
        kept = sabotage(int(words[1])) if words else None
        print("ready", flush=True)
        sys.stdin.readline()
        pause, count = threading.Event(), -1
        while count != len(heard.edges):
            count = len(heard.edges)
            pause.wait(QUIET_S)
        faults = [fault.what for fault in heard.records(Fault)]
        print(json.dumps({"edges": count, "faults": faults, "is_over": heard.is_over}), flush=True)
    assert words == () or kept is not None


if __name__ == "__main__":
    main(*sys.argv[1:])
