"""How long it took."""

from __future__ import annotations

from calibration.quantity import Quantity
from logger.results import sources
from logger.results.crossings import Reached

U_GO_S = 0.001
"""Standard uncertainty of the go signal's stamp: a button is read within a few milliseconds."""


def elapsed(first: Reached, last: Reached) -> Quantity:
    """From one line to the other, s; what both moments share (camera delay, one boat's outline) cancels by itself."""
    return last.time - first.time


def since_go(last: Reached, *, go_s: float, run_id: str) -> Quantity:
    """From the go signal, `go_s` after the run's origin, to the line, s."""
    go = Quantity(go_s, "s", {sources.of_run("go signal stamp", run_id): U_GO_S})
    return last.time - go


def joint_witness(first: Reached, last: Reached) -> str:
    """gate, camera, or gate+camera if they differ."""
    return first.witness if first.witness == last.witness else "gate+camera"
