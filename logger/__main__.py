"""`python -m logger` and the command `boatrun`."""

from __future__ import annotations

import sys

from logger.cli import main

__all__ = ["main"]

if __name__ == "__main__":
    sys.exit(main())
