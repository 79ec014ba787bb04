"""How well and how fast is a boat tracked? Simulated recordings with exact truth, tagged or not, beside stock recipes.

    python -m tests.bench.vision --clips 4 --keep folder          # development clips of all tiers and decks: a table
    python -m tests.bench.vision --judge --clips 12 --processes 2 --keep folder --json out.json --picture out.svg
    python -m tests.bench.vision --tier realistic --deck coloured --without-recipes --clips 6 --keep folder

In one run: the waterline centroid against truth; how many fixes are lost, how many are wrong by more than 10 mm without
being marked, and how many are marked (the price of that); how often two standard uncertainties hold the truth; drift,
line crossing and path of the camera alone (gates taken away), with lines and camera delay put where they truly are (how
far tape and delay are off is the rig's own doubt, which tests/bench/coverage.py counts); and the CPU time of measuring
as a fraction of only decoding the same video to BGR, one thread.

`recipes.py` says what the stock recipes are and what they are told. Clips kept in a folder are used again.
"""

from tests.bench.vision.figures import Figures, decoding_s, exact, judge, of_trial, off_mm, truth_of, two_u_mm
from tests.bench.vision.table import rows, summary, table

__all__ = [
    "Figures",
    "decoding_s",
    "exact",
    "judge",
    "of_trial",
    "off_mm",
    "rows",
    "summary",
    "table",
    "truth_of",
    "two_u_mm",
]
