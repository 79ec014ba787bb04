"""PDF files as a printer would put them on paper: rendered by Poppler, at a known number of pixels a millimetre."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

PX_PER_MM = 10
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="pdftoppm renders the page; it comes with apt install poppler-utils"
)


def pages(pdf: bytes, folder: Path) -> list[np.ndarray]:
    """Every page in grey, 255 white, 10 pixels a mm."""
    file = folder / "sheet.pdf"
    file.write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-gray", "-r", f"{25.4 * PX_PER_MM}", str(file), str(folder / "page")], check=True, timeout=60
    )
    found = [cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) for path in sorted(folder.glob("page-*.pgm"))]
    return [page for page in found if page is not None]


def told(program: str, pdf: bytes, folder: Path, *options: str) -> str:
    """What one of Poppler's programs says of the file."""
    file = folder / "told.pdf"
    file.write_bytes(pdf)
    tail = ["-"] if program == "pdftotext" else []
    done = subprocess.run([program, *options, str(file), *tail], check=True, timeout=60, capture_output=True, text=True)
    return done.stdout


def ink_mm(page: np.ndarray) -> tuple[float, float, float, float]:
    """White from the left, the lower, the right and the upper edge to the first ink."""
    rows, columns = np.flatnonzero((page < 128).any(axis=1)), np.flatnonzero((page < 128).any(axis=0))
    high, wide = page.shape
    edges = columns[0], high - 1 - rows[-1], wide - 1 - columns[-1], rows[0]
    return tuple(float(edge) / PX_PER_MM for edge in edges)  # type: ignore[return-value]


def bar_mm(page: np.ndarray) -> float:
    """Length of the thickest line across the page's lowest 30 mm; grey pixels of its ends count in part."""
    foot = 1 - page[-30 * PX_PER_MM :].astype(float) / 255
    thick = cv2.erode(foot, np.ones((9, 1)))  # higher than any line of it, and so are no letters of this width
    row = foot[int(np.argmax(thick.sum(axis=1)))]
    begins = int(np.flatnonzero(row)[0])
    gap = np.flatnonzero(np.convolve(row[begins:], np.ones(2 * PX_PER_MM), "valid") == 0)[0]  # 2 mm of white
    return float(row[begins : begins + gap].sum()) / PX_PER_MM
