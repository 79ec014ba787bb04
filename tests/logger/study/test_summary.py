from __future__ import annotations

from collections.abc import Callable

from logger.study.leaf import Run
from logger.study.summary import summary


def test_a_terminal_gets_results_reasons_the_end_and_the_doubts(make_drift_run: Callable[..., Run]) -> None:
    run = make_drift_run(flags=("The camera moved.",))
    text = summary(run.card, run.trial).replace("\u00a0", " ")
    assert text.splitlines() == [
        "drift-pelican: drift run of Pelican, valid, simulated",
        "  drift              485.3 ± 3.3 mm  (the camera)",
        "  speed at the line  0.2501 ± 0.0039 m/s  (the camera)",
        "  time               not measured: The boat never reached the finish line.",
        "  It ended when the boat came to rest: when it began to stay slower than 10 mm/s for 1 s.",
        "  Look here: The camera moved.",
    ]
