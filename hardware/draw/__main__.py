"""Make everything anew: `python -m hardware.draw`, from the project's folder, with `pip install '.[hardware]'`.

`--check` writes nothing and leaves with status 1 if something is not as it should be.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from hardware.draw.files import HARDWARE, made, stale, write


def main(argv: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m hardware.draw", description="make drawings and tables anew")
    parser.add_argument("--check", action="store_true", help="write nothing; status 1 if a file is out of date")
    arguments = parser.parse_args(argv)
    files = made()
    changed = [str(path.relative_to(HARDWARE)) for path in stale(files)]
    if not arguments.check:
        write(files)
    what = "out of date" if arguments.check else "made anew"
    sys.stdout.write(f"{len(files)} files; {what}: {', '.join(changed) or 'none'}\n")
    return 1 if arguments.check and changed else 0


if __name__ == "__main__":
    sys.exit(main())
