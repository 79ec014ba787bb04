"""The command."""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2

import tests.bench.vision
from logger.settings import write_whole
from tests.bench.vision.clips import DECKS, TIERS, Clip, clips
from tests.bench.vision.figures import ALL_RECIPES, Figures, judge
from tests.bench.vision.picture import picture
from tests.bench.vision.table import rows, summary, table

_NOT_IN_JSON = {"apart_mm", "sure"}


def main(arguments: Sequence[str]) -> int:
    """Run the bench; the exit status."""
    asked = _parser().parse_args(arguments)
    chosen = clips(
        tiers=asked.tier or TIERS, decks=asked.deck or DECKS, count=asked.clips, judging=asked.judge
    )  # fmt: skip
    recipes = () if asked.without_recipes else ALL_RECIPES
    figures: list[Figures] = []
    with tempfile.TemporaryDirectory() as scratch:
        for one in _judged(chosen, asked.keep or Path(scratch), recipes, processes=asked.processes):
            figures.append(one)
            print(rows([one])[1], file=sys.stderr, flush=True)
            if asked.json:  # after every clip, so that a run which is broken off leaves what it had
                write_whole(asked.json, as_json(figures, judging=asked.judge))
    print(table(figures))
    if asked.picture:
        write_whole(asked.picture, picture(figures))
    return 0


def as_json(figures: Sequence[Figures], *, judging: bool) -> str:
    """Summary and clips; what there is none of is null."""
    whole = {
        "first_seeds": "judging" if judging else "development",
        "summary": summary(figures),
        "clips": [_told(asdict(f)) for f in figures],
    }
    return json.dumps(_without_nan(whole), indent=1, allow_nan=False) + "\n"


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.vision",
        description=tests.bench.vision.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--clips", type=int, default=4, help="so many of each tier and deck (default: 4)")
    parser.add_argument("--tier", action="append", choices=TIERS, help="may be repeated (default: all)")
    parser.add_argument("--deck", action="append", choices=DECKS, help="paint or tag; may be repeated (default: all)")
    parser.add_argument("--judge", action="store_true", help="clips that are only for final figures")
    parser.add_argument("--without-recipes", action="store_true", help="only the tracker")
    parser.add_argument("--processes", type=int, default=1, help="clips at a time (default: 1)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="all figures")
    parser.add_argument("--picture", type=Path, metavar="FILE", help="errors as a drawing, SVG")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="where clips are kept and used again")
    return parser


def _judged(chosen: Sequence[Clip], place: Path, recipes: Sequence[str], *, processes: int) -> Iterator[Figures]:
    jobs = [(clip, place, recipes) for clip in chosen]
    if processes == 1:
        yield from map(_one, jobs)
        return
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(_one, jobs)


def _one(job: tuple[Clip, Path, Sequence[str]]) -> Figures:
    clip, place, recipes = job
    cv2.setNumThreads(1)
    return judge(clip.made(place), recipes=recipes)


def _told(clip: dict[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in clip.items() if name not in _NOT_IN_JSON}
    kept["recipes"] = [{name: v for name, v in r.items() if name not in _NOT_IN_JSON} for r in clip["recipes"]]
    return kept


def _without_nan(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {name: _without_nan(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(inner) for inner in value]
    return value


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
