"""Make everything anew: `python -m hardware.draw`, from the project's folder, with `pip install '.[hardware]'`.

`--check` writes nothing and leaves with status 1 if something is not as it should be; `--models DIR` writes the mounts
for a printer as well.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from hardware.draw.files import HARDWARE, models, pictures, shows, stale, texts, write, write_picture


def main(argv: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m hardware.draw", description="make drawings, tables, pictures anew")
    parser.add_argument("--check", action="store_true", help="write nothing; status 1 if a file is out of date")
    parser.add_argument("--no-pictures", action="store_true", help="leave out the pictures, which take half a minute")
    parser.add_argument("--models", type=Path, metavar="DIR", help="also write STL and 3MF of every mount there")
    arguments = parser.parse_args(argv)
    files = texts()
    changed = stale(files)
    if not arguments.check:
        write(files)
    for path, image in () if arguments.no_pictures else pictures():
        if not shows(path, image):
            changed.append(path)
            if not arguments.check:
                write_picture(path, image)
    what = "out of date" if arguments.check else "made anew"
    sys.stdout.write(f"{what}: {', '.join(str(path.relative_to(HARDWARE)) for path in changed) or 'nothing'}\n")
    if arguments.models is not None:
        written = models(arguments.models)
        write(written)
        sys.stdout.write(f"{len(written)} models in {arguments.models}\n")
    return 1 if arguments.check and changed else 0


if __name__ == "__main__":
    sys.exit(main())
