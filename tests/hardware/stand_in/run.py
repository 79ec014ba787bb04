"""Runs a board's firmware under CPython, with the board's hardware stood in for.

A command on the control pipe raises a signal, whose handler runs the pin's handler at once between two steps of the
main program, as an interrupt does. The counter is the host's own clock with a rate and a beginning of its own, and goes
round as on the board. Fakes end at the pin and the counter: all else is the firmware's own doing.
"""

import fcntl
import io
import os
import runpy
import signal
import sys
import time
import types

CONTROL, REPORT = int(os.environ["BOARD_CONTROL"]), int(os.environ["BOARD_REPORT"])
START_US, PPM = int(os.environ["BOARD_START_US"]), float(os.environ["BOARD_PPM"])
ROUND = 1 << 30
BEGAN_NS = time.monotonic_ns()
PINS = {}


def ticks_us():
    passed_ns = time.monotonic_ns() - BEGAN_NS
    return (START_US + int(passed_ns * (1 + PPM * 1e-6)) // 1000) % ROUND


def ticks_diff(later, earlier):
    return (later - earlier + ROUND // 2) % ROUND - ROUND // 2


def ticks_add(ticks, step):
    return (ticks + step) % ROUND


class Irq:
    def __init__(self):
        self.seen = 0

    def flags(self):
        return self.seen


class Pin:
    IN, PULL_UP, IRQ_FALLING, IRQ_RISING = 0, 1, 4, 8

    def __init__(self, number, mode, pull):
        assert (mode, pull) == (Pin.IN, Pin.PULL_UP)
        self.level = 0
        PINS[len(PINS)] = self

    def irq(self, *, handler, trigger, hard):
        assert hard
        self.trigger, self.handler, self.request = trigger, handler, Irq()
        return self.request

    def value(self):
        return self.level


def interrupt(*_):
    """Each command is "gate level count": the pin goes to that level; with a count of more than 1, there and back so
    often; of 0, it has been away and is back before the interrupt comes."""
    for command in os.read(CONTROL, 65536).decode().split("\n")[:-1]:
        gate, level, count = (int(word) for word in command.split())
        pin = PINS[gate]
        before_ns = time.monotonic_ns()
        if count == 0:
            pin.request.seen = Pin.IRQ_RISING | Pin.IRQ_FALLING
            pin.handler(pin)
        for _ in range(count):
            pin.request.seen = Pin.IRQ_RISING if level else Pin.IRQ_FALLING
            pin.level, level = level, 1 - level
            pin.handler(pin)
        os.write(REPORT, b"%d %d\n" % (before_ns, time.monotonic_ns()))


class Out(io.FileIO):
    """The port, as the firmware writes to it; its first word says that all is set up."""

    is_up = False

    def write(self, data):
        if not self.is_up:
            self.is_up = True
            os.write(REPORT, b"up\n")
        return super().write(data)


time.ticks_us, time.ticks_diff, time.ticks_add = ticks_us, ticks_diff, ticks_add
sys.modules["machine"] = types.ModuleType("machine")
sys.modules["machine"].Pin = Pin
sys.stdin = io.TextIOWrapper(io.FileIO(0))
sys.stdout = io.TextIOWrapper(Out(1, "w"))
signal.signal(signal.SIGIO, interrupt)
fcntl.fcntl(CONTROL, fcntl.F_SETOWN, os.getpid())
fcntl.fcntl(CONTROL, fcntl.F_SETFL, os.O_ASYNC | os.O_NONBLOCK)
runpy.run_path(sys.argv[1], run_name="__main__")
