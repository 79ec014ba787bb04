"""Somebody at a browser whose clicks, words and waiting are counted, and the pages of a rig to be at.

How long a person takes is a model, the keystroke-level one (S. K. Card, T. P. Moran, A. Newell: The keystroke-level
model for user performance time with interactive systems, Communications of the ACM 23 (1980) 396-410): to point 1.1 s,
to press a button 0.2 s, to press a key 0.28 s (not a typist), hands from keys to mouse 0.4 s, to think before each step
1.35 s (figures from memory). To point exactly into a picture takes as long again, and to find a file in the dialogue
8 s (common practice, no source). What the computer takes is measured.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
POINT_S, PRESS_S, KEY_S, HANDS_S, THINK_S, FILE_S = 1.1, 0.2, 0.28, 0.4, 1.35, 8.0
WITHIN_MS = 90_000


class Person:
    """Somebody with a mouse and a keyboard at an open page."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.clicks_count = self.fields_count = self.keys_count = self.files_count = 0
        self.hands_s = self.waited_s = 0.0

    def click(self, what: str) -> None:
        self._press()
        self._wait(lambda: self.page.locator(what).first.click(timeout=WITHIN_MS))

    def type(self, name: str, text: str) -> None:
        self._looks()
        self.fields_count += 1
        self.keys_count += len(text)
        self.hands_s += THINK_S + 2 * HANDS_S + POINT_S + PRESS_S + KEY_S * len(text)
        self.page.locator(f"[name='{name}']").fill(text)

    def send(self, name: str, *files: Path) -> None:
        """Choose files, which are sent by that."""
        self._press()
        self.files_count += 1
        self.hands_s += FILE_S
        with self.page.expect_navigation(timeout=WITHIN_MS):
            begun = time.perf_counter()
            self.page.locator(f"input[name='{name}']").set_input_files([str(file) for file in files])
        self.waited_s += time.perf_counter() - begun

    def point(self, picture: Any, pixel: tuple[float, float]) -> None:
        """Click into a picture, to the nearest point of the screen."""
        self._press()
        self.hands_s += POINT_S + THINK_S
        picture.scroll_into_view_if_needed()
        box, wide = picture.bounding_box(), float(picture.get_attribute("data-width"))
        border_px = 2.0  # a position counts from inside it
        scale = (box["width"] - 2 * border_px) / wide
        at = {"x": (pixel[0] + 0.5) * scale, "y": (pixel[1] + 0.5) * scale}
        picture.click(position={"x": round(at["x"]), "y": round(at["y"])})

    def wait_for(self, address: str) -> None:
        """Until the work has led to its result; what the page has to say against it fails the test."""
        ended = self.page.locator(f"body[data-here^='{address}'], .wrong").first
        self._wait(lambda: ended.wait_for(timeout=WITHIN_MS))
        wrong = self.page.locator(".wrong").all_inner_texts()
        assert wrong == [], wrong

    def _looks(self) -> None:
        """Nobody is faster than a page: before its scripts are there, a file that is chosen is not sent."""
        self.page.wait_for_load_state(timeout=WITHIN_MS)

    def _press(self) -> None:
        self._looks()
        self.clicks_count += 1
        self.hands_s += THINK_S + POINT_S + PRESS_S

    def _wait(self, done: Any) -> None:
        begun = time.perf_counter()
        done()
        self.waited_s += time.perf_counter() - begun

    @property
    def minutes(self) -> float:
        """The person's by the model and the computer's as measured."""
        return (self.hands_s + self.waited_s) / 60

    def told(self) -> str:
        return (
            f"{self.clicks_count} clicks, {self.fields_count} fields of {self.keys_count} keys, files "
            f"{self.files_count} times; hands {self.hands_s:.0f} s by the model, computer {self.waited_s:.0f} s: "
            f"{self.minutes:.1f} minutes"
        )


@contextmanager
def served(rig_file: Path, *more: str) -> Iterator[str]:
    """The pages of a rig, by a process of their own; their address."""
    command = [sys.executable, "-m", "logger", "serve", str(rig_file), "--port", "0", *more]
    environment = os.environ | {"PYTHONPATH": str(PROJECT), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as server:
        try:
            assert server.stdout is not None
            line = server.stdout.readline()
            assert "http://" in line, line + (server.stderr.read() if server.stderr else "")
            yield line.split()[3].rstrip("/")
        finally:
            server.terminate()
            server.communicate(timeout=30)
