"""The counter of a board, for MicroPython on a computer: a rate and a beginning of its own, and round as on the board.

There are no interrupts here: what waits at the control pipe happens when the program next looks at the counter.
"""

import os

from utime import ticks_us as _host_us  # by this name the built-in module, which this file stands before

START_US, PPB = int(os.getenv("BOARD_START_US")), int(float(os.getenv("BOARD_PPM")) * 1000)
ROUND = 1 << 30
BEGAN_US = _host_us()
interrupts = []  # machine.py puts its own here


def host_us():
    return _host_us()


def ticks_us():
    for interrupt in interrupts:
        interrupt()
    return counter_us()


def counter_us():
    passed_us = _host_us() - BEGAN_US
    return (START_US + passed_us + passed_us * PPB // 1000000000) % ROUND  # no fraction: that would ask for memory


def ticks_diff(later, earlier):
    return (later - earlier + ROUND // 2) % ROUND - ROUND // 2


def ticks_add(ticks, step):
    return (ticks + step) % ROUND
