"""A program that listens to two lines with nothing but lgpio, in one of the ways in which lgpio goes deaf.

    deaf.py CHIP_NUMBER open | close_the_newest | raise | keep_the_callback

Says "ready", then for every line that it is sent says as JSON how many edges each callback has had so far. A program of
its own, because what has gone deaf stays so for the rest of its process.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import threading

QUIET_S = 0.4
"""No edge for so long: those that were to come have come."""


class Ear:
    """Counts edges; may raise on the first."""

    def __init__(self, name: str, *, raises: bool = False) -> None:
        self.name, self.raises, self.count = name, raises, 0

    def __call__(self, chip: int, line: int, level: int, tick_ns: int) -> None:
        self.count += 1
        HEARD.set()
        if self.raises:
            raise RuntimeError("a callback of somebody's")


HEARD = threading.Event()


def main(number: int, way: str) -> None:
    os.environ["LG_WD"] = tempfile.mkdtemp()  # the library makes a named pipe wherever it happens to be
    import lgpio

    def claim(chip: int, line: int, ear: Ear) -> object:
        lgpio.gpio_claim_alert(chip, line, lgpio.BOTH_EDGES)
        return lgpio.callback(chip, line, lgpio.BOTH_EDGES, ear)

    chip = lgpio.gpiochip_open(number)
    threading.Event().wait(0.05)
    ears = [Ear("first", raises=way == "raise"), Ear("second")]
    callbacks = [claim(chip, line, ear) for line, ear in enumerate(ears)]
    if way == "close_the_newest":
        lgpio.gpio_free(chip, 1)
    if way == "keep_the_callback":
        lgpio.gpiochip_close(chip)
        chip = lgpio.gpiochip_open(number)
        threading.Event().wait(0.05)
        ears += [Ear("first anew"), Ear("second anew")]
        callbacks += [claim(chip, line, ear) for line, ear in enumerate(ears[2:])]
    print("ready", flush=True)
    for _ in sys.stdin:
        while HEARD.wait(QUIET_S):
            HEARD.clear()
        print(json.dumps({ear.name: ear.count for ear in ears}), flush=True)
    assert callbacks


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
