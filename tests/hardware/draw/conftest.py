"""The drawings' code lies in hardware/, which is not installed: it is found here, after everything that is."""

from __future__ import annotations

import sys
from pathlib import Path

PROJECT = str(Path(__file__).resolve().parents[3])
if PROJECT not in sys.path:
    sys.path.append(PROJECT)
