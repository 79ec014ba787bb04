"""Is the rig fit to run? Looks at the rig file, the calibration, each device, the computer and the disk, in some
fifteen seconds, and says for each fault what to do about it. Nothing that the rig file does not name is opened.

The exit status is 0 if the rig is fit, also with doubts, and 2 if something is wrong. --keep-view keeps a picture
beside the calibration: do it just after calibrating, with nobody in the picture; later checks tell from it whether the
camera has moved, its focus or the light has changed, and whether the water stands as high as it did.

--acceptance leads through all that a rig must pass before it is handed over: straws, ripples, light, a known length, a
check boat's pulls, a pulled plug. It may be stopped and taken up again; a report to sign comes of it. The exit status
is 0 only if every item has passed.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from logger.cli import check_acceptance

if TYPE_CHECKING:
    from logger.drivers.interface import Finding

FORMAT = "boatrun-check/1"
MARKS = {"well": "ok", "doubtful": "doubt", "wrong": "WRONG"}
"""Health -> how it is marked at the beginning of a line."""
LONGEST_WAIT_S = 3600.0
MOST_DEPTH_MM = 5000.0


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("rig", type=Path, metavar="RIG", help="the rig file, rig.toml")
    parser.add_argument(
        "--recordings", type=Path, metavar="DIR", help="where recordings go (default: the rig's folder)"
    )
    parser.add_argument("--beams", action="store_true", help="wait for a hand or a straw in each beam, one by one")
    parser.add_argument("--wait-s", type=_wait_s, default=60.0, metavar="S", help="so long at most (default: 60)")
    parser.add_argument(
        "--keep-view", action="store_true", help="keep a picture to tell later whether the camera moved"
    )
    parser.add_argument(
        "--depth-mm", type=_depth_mm, metavar="MM", help="what a ruler in the water shows now; tells what that means"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    check_acceptance.describe(parser)


def run(arguments: argparse.Namespace) -> int:
    """Check and tell; 2 if anything is wrong."""
    from logger.checkup.check import Wanted, check

    if arguments.acceptance:
        return check_acceptance.run(arguments)
    wanted = Wanted(
        arguments.rig, recordings=arguments.recordings, beams=arguments.beams, wait_s=arguments.wait_s,
        keep_view=arguments.keep_view, depth_mm=arguments.depth_mm,
    )  # fmt: skip
    findings = check(wanted, say=_say)
    told = list(findings) if arguments.json else list(_shown(findings))
    is_fit = all(finding.health != "wrong" for finding in told)
    if arguments.json:
        print(_json(told, arguments.rig, is_fit=is_fit))
    else:
        print(*_summary(told, is_fit=is_fit), sep="\n")
    return 0 if is_fit else 2


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def _shown(findings: Iterable[Finding]) -> Iterator[Finding]:
    """Print each finding as it comes, under its part."""
    group = None
    for finding in findings:
        head, _, rest = finding.part.partition(": ")
        if head != group:
            group = head
            print(head)
        words = f"{rest}: {finding.found}" if rest else finding.found
        print(f"  {MARKS[finding.health]:<7}{words}", flush=True)
        yield finding


def _summary(findings: Iterable[Finding], *, is_fit: bool) -> Iterator[str]:
    """What to look at, the worst first, with its cure; then the answer."""
    listed = list(findings)
    wrong, doubtful = ([one for one in listed if one.health == health] for health in ("wrong", "doubtful"))
    if wrong or doubtful:
        yield "\nLook here"
    for finding in wrong + doubtful:
        yield f"  {MARKS[finding.health]:<7}{finding.part}: {finding.found}"
        yield f"         -> {finding.cure}"
    counted = [f"{len(some)} {word}" for some, word in ((wrong, "wrong"), (doubtful, "in doubt")) if some]
    yield f"\n{'Fit to run' if is_fit else 'NOT fit to run'}: {', '.join(counted) or 'all is well'}."


def _json(findings: Iterable[Finding], rig: Path, *, is_fit: bool) -> str:
    from logger import __version__

    table = {
        "format": FORMAT,
        "rig_file": str(rig),
        "at": datetime.now().astimezone().isoformat(timespec="seconds"),
        "software": f"boatrun {__version__}",
        "fit": is_fit,
        "findings": [
            {"part": one.part, "health": one.health, "found": one.found, "cure": one.cure} for one in findings
        ],
    }
    return json.dumps(table, indent=1, ensure_ascii=False)


def _wait_s(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value <= LONGEST_WAIT_S:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted seconds, above 0 and at most {LONGEST_WAIT_S:g}")
    return value


def _depth_mm(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value <= MOST_DEPTH_MM:
        raise argparse.ArgumentTypeError(f"found {text!r}; wanted mm, above 0 and at most {MOST_DEPTH_MM:g}")
    return value
