"""The pins of a board, for MicroPython on a computer. See run.py, which does the same under CPython."""

import os
import select
import time

import micropython

CONTROL = open(int(os.getenv("BOARD_CONTROL")), "rb")  # noqa: SIM115 - open as long as the board
REPORT = open(int(os.getenv("BOARD_REPORT")), "wb")  # noqa: SIM115
PINS = []
WAITING = select.poll()
WAITING.register(CONTROL, select.POLLIN)


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
        PINS.append(self)

    def irq(self, *, handler, trigger, hard):
        assert hard
        self.handler, self.request = handler, Irq()
        return self.request

    def value(self):
        return self.level

    def happen(self, level, count):
        if count == 0:
            self.request.seen = Pin.IRQ_RISING | Pin.IRQ_FALLING
            self.handler(self)
        while count:
            self.request.seen = Pin.IRQ_RISING if level else Pin.IRQ_FALLING
            self.level = level
            level = 1 - level
            self.handler(self)
            count -= 1


def interrupt():
    if not is_up:
        is_up.append(True)
        REPORT.write(b"up\n")
    if is_inside or not WAITING.poll(0):
        return
    is_inside.append(True)
    gate, level, count = (int(word) for word in CONTROL.readline().split())
    pin = PINS[gate]
    before_us = time.host_us()
    micropython.heap_lock()  # a hard interrupt gets no memory: whoever asks for some fails
    try:
        pin.happen(level, count)
    finally:
        micropython.heap_unlock()
    REPORT.write(b"%d000 %d000\n" % (before_us, time.host_us() + 1))
    is_inside.clear()


is_inside, is_up = [], []
time.interrupts.append(interrupt)
