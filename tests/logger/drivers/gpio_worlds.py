"""The three worlds (contract_case.py) of everything that hangs on GPIO pins."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from tests.logger.drivers.contract_case import Case, Options, Surroundings
from tests.logger.drivers.fake_kernel import Controller, Kernel, Play

LABEL = "pinctrl-rp1"
A, B = 17, 27
ARM, VOID, LAMP = 5, 6, 13
PANEL: Options = {"arm_pin": ARM, "void_pin": VOID, "lamp_pin": LAMP}
GATES: Options = {"pins": {"A": A, "B": B}, "blocked_is": "low"}


@contextmanager
def board(monkeypatch: pytest.MonkeyPatch, *controllers: Controller) -> Iterator[Kernel]:
    with tempfile.TemporaryDirectory() as folder:
        kernel = Kernel(Path(folder) / "dev", monkeypatch)
        for number, controller in enumerate(controllers or [Controller(LABEL)]):
            kernel.plug_in(controller, f"gpiochip{number}")
        yield kernel


def a_run(controller: Controller) -> Play:
    """A boat breaks the one beam and then the other; then the controller is pulled out."""
    return Play(
        controller,
        (0.15, lambda: controller.drive(A, False)),
        (0.20, lambda: controller.drive(A, True)),
        (0.40, lambda: controller.drive(B, False)),
        (0.45, lambda: controller.drive(B, True)),
        (0.70, controller.pull_out),
    )


def a_press(controller: Controller) -> Play:
    """Somebody presses a button, which bounces; then the controller is pulled out."""
    return Play(
        controller,
        (0.150, lambda: controller.drive(ARM, False)),
        (0.151, lambda: controller.drive(ARM, True)),
        (0.152, lambda: controller.drive(ARM, False)),
        (0.300, lambda: controller.drive(ARM, True)),
        (0.600, controller.pull_out),
    )


def happening(options: Options, play: Callable[[Controller], Play]) -> Surroundings:
    @contextmanager
    def around(_: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Options]:
        controller = Controller(LABEL)
        with board(monkeypatch, controller), ExitStack() as stack:
            stack.callback(play(controller).close)
            yield options

    return around


def nothing_happens(options: Options) -> Surroundings:
    @contextmanager
    def around(_: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Options]:
        with board(monkeypatch):
            yield options

    return around


def elsewhere(options: Options) -> Surroundings:
    """A computer with a controller, but not the one that is asked for."""

    @contextmanager
    def around(_: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Options]:
        with board(monkeypatch, Controller("gpio-mouse", 8)):
            yield options

    return around


NO_HEADER = r"no GPIO controller is a Raspberry Pi's header .*seen were gpiochip0 \(gpio-mouse, 8 lines\)"
GATES_CASE = Case(
    story=happening(GATES, a_run),
    waiting=nothing_happens(GATES),
    broken=elsewhere(GATES),
    complaint=NO_HEADER,
    ends="unplugged",
)
PANEL_CASE = Case(
    story=happening(PANEL, a_press),
    waiting=nothing_happens(PANEL),
    broken=elsewhere(PANEL),
    complaint=NO_HEADER,
    ends="unplugged",
)
LIGHT_CASE = Case(
    story=nothing_happens({"pin": LAMP}),
    waiting=nothing_happens({"pin": LAMP}),
    broken=elsewhere({"pin": LAMP}),
    complaint=NO_HEADER,
    speaks=False,
)
