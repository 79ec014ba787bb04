"""Break-beam gates on an RP2040-class board: stamps every edge in microseconds and tells it over USB.

What is said over the port, and why, stands in hardware/serial_protocol.md; how to put this file on a board in
hardware/firmware/README.md. Runs under MicroPython 1.20 or newer.
"""

import binascii
import select
import sys
from array import array
from time import ticks_add, ticks_diff, ticks_us

from machine import Pin

# --- what you may change -------------------------------------------------------------------------------------------

GATE_PINS = (2, 3)  # GP numbers of the gates, in the order of their numbers: the first is gate 0
PULL = Pin.PULL_UP  # for sensors that only pull down; None for those that drive both ways

# --- what has to fit the protocol ----------------------------------------------------------------------------------

PROTOCOL = 1
FIRMWARE = "rp2040_gates"
VERSION = "1.0"
COUNTER_BITS = 30  # of ticks_us on these boards
TICK_NS = 1000
LATE_US = 60  # from the beam to the stamp, at most: the interrupt, and the interpreter's first steps (not measured)
WIRE_HZ = 0  # USB by itself
NUMBERS_MASK = 0x3FFFFFFF  # numbers stay small, so that the interrupt need not ask for memory
SIGN_OF_LIFE_US = 50000
ROOM = 256  # edges that may wait for the port; a power of two
MOST_LINE_BYTES = 96

BOTH = Pin.IRQ_RISING | Pin.IRQ_FALLING


def checksum(text):
    """CRC-32 of ITU-T V.42 as eight hexadecimal digits."""
    return f"{binascii.crc32(text) & 0xFFFFFFFF:08x}"


class Ring:
    """Edges between the interrupt, which puts them in, and the main loop, which takes them out."""

    def __init__(self):
        self.counters = array("i", bytes(4 * ROOM))
        self.numbers = array("i", bytes(4 * ROOM))
        self.gates = bytearray(ROOM)
        self.levels = bytearray(ROOM)
        self.head = 0  # moved by the interrupt only
        self.tail = 0  # moved by the main loop only
        self.next_number = 0
        self.overflows = 0

    def put(self, gate, level, counter):
        """From the interrupt: keep an edge, or count it where there is no room."""
        head = self.head
        after = (head + 1) & (ROOM - 1)
        if after == self.tail:
            self.overflows = (self.overflows + 1) & NUMBERS_MASK
        else:
            self.counters[head] = counter
            self.numbers[head] = self.next_number
            self.gates[head] = gate
            self.levels[head] = level
            self.head = after
        self.next_number = (self.next_number + 1) & NUMBERS_MASK


class Gate:
    """One pin. Its interrupt asks for no memory: everything it needs is there beforehand."""

    def __init__(self, index, pin_number, ring):
        self.index = index
        self.ring = ring
        self.changed = 0
        self.pin = Pin(pin_number, Pin.IN, PULL)
        self.irq = None
        self.irq = self.pin.irq(handler=self.on_edge, trigger=BOTH, hard=True)

    def on_edge(self, pin):
        """The interrupt."""
        counter = ticks_us()
        if self.irq is None:
            return  # so early that there is nothing to ask yet
        flags = self.irq.flags()
        self.changed = 1
        if flags == BOTH:  # there and back again before we came: both are told, with one stamp
            level = pin.value()
            self.ring.put(self.index, 1 - level, counter)
            self.ring.put(self.index, level, counter)
        else:
            self.ring.put(self.index, 1 if flags & Pin.IRQ_RISING else 0, counter)


class Board:
    """The conversation with the host."""

    def __init__(self):
        self.ring = Ring()
        self.gates = [Gate(index, number, self.ring) for index, number in enumerate(GATE_PINS)]
        self.session = 0
        self.heard = bytearray()
        self.began = 0  # the counter when the first letter of what is being heard came

    def say(self, text):
        """Say a line, with its checksum."""
        sys.stdout.buffer.write(f"{text} {checksum(text.encode())}\n".encode())

    def say_hello(self):
        """Say who we are."""
        who = f"{self.session} {PROTOCOL} {FIRMWARE} {VERSION} {len(self.gates)}"
        changed = "".join(str(gate.changed) for gate in self.gates)
        self.say(f"H {who} {COUNTER_BITS} {TICK_NS} {LATE_US} {WIRE_HZ} {self.ring.next_number} {changed}")

    def say_edges(self):
        """Say every edge that waits."""
        ring = self.ring
        while ring.tail != ring.head:
            i = ring.tail
            edge = f"{ring.numbers[i]} {ring.gates[i]} {ring.levels[i]} {ring.counters[i]}"
            ring.tail = (i + 1) & (ROOM - 1)  # its place is free from here on
            self.say(f"E {self.session} {edge}")

    def say_mark(self, counter, token=None):
        """Every edge up to `counter` is out before this line: so the counter was read first, by the caller."""
        levels = "".join(str(gate.pin.value()) for gate in self.gates)  # before the number: not newer than it
        while True:
            next_number = self.ring.next_number  # of the edges that are out: more may come at any time
            if self.ring.tail == self.ring.head:
                break
            self.say_edges()
        rest = f"{counter} {next_number} {levels} {self.ring.overflows}"
        if token is None:
            self.say(f"L {self.session} {rest}")
        else:
            self.say(f"T {self.session} {token} {rest} {ticks_diff(ticks_us(), counter)}")

    def hear(self, byte):
        """One byte has come from the host."""
        if not self.heard:
            self.began = ticks_us()
        if byte != b"\n":
            if len(self.heard) <= MOST_LINE_BYTES:
                self.heard.extend(byte)
            return
        line, self.heard = bytes(self.heard), bytearray()
        text, _, check = line.rpartition(b" ")
        if len(line) > MOST_LINE_BYTES or check != checksum(text).encode():
            return  # damaged or not for us
        kind, _, number = text.partition(b" ")
        if not number.isdigit():
            return
        if kind == b"p":
            self.say_mark(self.began, int(number))
        elif kind == b"h":
            self.say_edges()  # those of the session before
            self.session = int(number)
            self.say_hello()

    def run(self):
        """Listen and speak for ever."""
        port = select.poll()
        port.register(sys.stdin, select.POLLIN)
        self.say_hello()
        due = ticks_us()
        while True:
            for _ in range(MOST_LINE_BYTES):  # not for ever: edges have to leave too
                if not port.poll(1):
                    break
                byte = sys.stdin.buffer.read(1)
                if not byte:
                    return  # the port has been closed for good
                self.hear(byte)
            self.say_edges()
            now = ticks_us()
            if ticks_diff(now, due) >= 0:
                self.say_mark(now)
                due = ticks_add(now, SIGN_OF_LIFE_US)


Board().run()
