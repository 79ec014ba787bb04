"""A gate board with the real firmware at the far end of a pseudo-terminal."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.hardware.board import Board
from tests.logger.drivers.contract_case import Case, Options


def options(board: Board) -> Options:
    return {"port": str(board.port), "gates": {"A": 0, "B": 1}}


@contextmanager
def waiting(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        yield options(board)


@contextmanager
def story(_: Path, __: pytest.MonkeyPatch) -> Iterator[Options]:
    """Somebody waves a hand through both beams, over and over; now and then the plug is pulled and put back."""
    with tempfile.TemporaryDirectory() as folder, Board(Path(folder)) as board:
        over = threading.Event()

        def wave() -> None:
            for count in range(10_000):
                if over.wait(0.02):
                    return
                if count % 80 == 79:
                    board.unplug()
                    over.wait(0.3)
                    board.plug_in()
                else:
                    board.edge(count % 2, count // 2 % 2)

        hand = threading.Thread(target=wave)
        hand.start()
        try:
            yield options(board)
        finally:
            over.set()
            hand.join()


@contextmanager
def broken(recording: Path, _: pytest.MonkeyPatch) -> Iterator[Options]:
    yield {"port": str(recording / "nowhere"), "gates": {"A": 0}}


CASE = Case(story, waiting, broken, "there is no such port; plug the device in", ends="waits")
