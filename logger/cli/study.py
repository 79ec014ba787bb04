"""Make a study pack of a class: pages that open in any browser, from a stick, without the rig and without a network.

The class is the folder that a lesson (or `boatrun demo`) left: trials.sqlite beside its recordings. The pack holds the
nicknames of teams and boats and what was measured; no notes, no times of day, no videos.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path

BANDS = ("2-3", "4-5", "6-8")


def describe(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="of a class: trials.sqlite and its recordings")
    parser.add_argument(
        "--to", type=Path, required=True, metavar="PACK", help="a new or empty folder; with --zip, a file"
    )
    parser.add_argument("--zip", action="store_true", help="write one zip file")
    parser.add_argument("--grades", choices=BANDS, default="4-5", help="whom the pages speak to first (default: 4-5)")
    parser.add_argument("--language", choices=("en", "es"), default="en", help="of the pages (default: en)")
    parser.add_argument(
        "--plans",
        type=Path,
        metavar="FOLDER",
        help="has further plans in its folder experiments/, as the rig has",
    )
    parser.add_argument("--name", default="", metavar="TEXT", help="what the class is called (default: as its folder)")


def run(arguments: argparse.Namespace) -> int:
    """Write the pack and say where it begins."""
    from logger.cli.keep import new_folder, refuse_if_used
    from logger.cli.measure import refuse_existing
    from logger.settings import write_whole
    from logger.study.class_folder import read_class
    from logger.study.class_tables import zipped_files
    from logger.study.pack.writing import whole_pack
    from logger.study.tongue import catalogue, speaking

    target: Path = arguments.to
    beside = [] if arguments.plans is None else [arguments.plans]
    if arguments.zip:
        refuse_existing(target)
    else:
        refuse_if_used(target)
    with speaking(catalogue(arguments.language)):
        files = whole_pack(
            read_class(arguments.folder, name=arguments.name, plans_beside=beside), band=arguments.grades
        )
    if arguments.zip:
        write_whole(target, zipped_files(files, target.stem))
        print(f"{target}: {_pages(files)} pages; unpack it and open index.html")
        return 0
    new_folder(target)
    for name, content in files.items():
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        write_whole(target / name, content)
    print(f"{_pages(files)} pages; begin here: {target / 'index.html'}")
    return 0


def _pages(files: Mapping[str, bytes]) -> int:
    return sum(name.endswith(".html") for name in files)
