"""Write recordings of a simulated tank, each with the exact truth beside it (truth.json, truth.csv).

The same seed gives the same recordings, byte for byte. They are marked as simulated, and so is everything measured from
them.
"""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli.keep import new_folder

if TYPE_CHECKING:
    from logger.simulator.tiers import TierName

_KINDS = ("drift", "straight")
_TIERS = ("easy", "realistic", "hard")


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument(
        "--to", type=Path, required=True, metavar="DIR", help="a new or empty folder for the recordings"
    )
    parser.add_argument("--tier", choices=_TIERS, default="easy", help="how hard they are to measure (default: easy)")
    parser.add_argument("--kind", choices=_KINDS, help="kind of run (default: one after the other)")
    parser.add_argument("--count", type=count_of, default=1, metavar="N", help="how many recordings (default: 1)")
    parser.add_argument("--seed", type=_seed, default=1000, metavar="S", help="seed of the first (default: 1000)")


def run(arguments: argparse.Namespace) -> int:
    """Write the recordings and print where each one is."""
    from tqdm import tqdm

    target = new_folder(arguments.to)
    seeds = range(arguments.seed, arguments.seed + arguments.count)
    for number, seed in enumerate(tqdm(seeds, delay=2, disable=None, unit="recording", leave=False)):
        kind = arguments.kind or _KINDS[number % len(_KINDS)]
        folder = target / f"{arguments.tier}-{kind}-{seed}"
        _write(folder, tier=arguments.tier, kind=kind, seed=seed)
        tqdm.write(str(folder))
    return 0


def _write(folder: Path, *, tier: TierName, kind: str, seed: int) -> None:
    """One recording, under its name only once it is whole."""
    from logger.recording.recovery import unfinished_name
    from logger.simulator import simulate

    growing = unfinished_name(folder)
    try:
        simulate(growing, tier=tier, kind=kind, seed=seed)
        growing.rename(folder)
    except BaseException:
        shutil.rmtree(growing, ignore_errors=True)  # the same seed makes it again
        raise


def count_of(text: str) -> int:
    """The number of things that an option asks for, 1 to 100000."""
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 100_000:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a whole number from 1 to 100000")
    return int(text)


def _seed(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted a whole number, 0 or more")
    return int(text)
