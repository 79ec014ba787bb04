"""Takes values out of a TOML file and collects every mistake: place, what was found, what is wanted."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from calibration.errors import CalibrationError
from calibration.lens import Floats


class Reader:
    """Goes through tables; its `mistakes` grow, and whoever uses it raises them all at the end."""

    def __init__(self) -> None:
        self.mistakes: list[str] = []

    def say(self, place: str, found: object, wanted: str) -> None:
        """Keep one mistake."""
        shown = "nothing" if found is None else repr(found)
        self.mistakes.append(f"{place}: found {shown if len(shown) < 80 else shown[:77] + '...'}; wanted {wanted}")

    def known(self, table: Mapping[str, object], place: str, keys: Sequence[str]) -> None:
        """Keep a mistake for each key that is not one of `keys`, with the nearest name."""
        for key in table:
            if key not in keys:
                near = difflib.get_close_matches(key, keys, 1)
                hint = f"{near[0]!r}?" if near else "one of " + ", ".join(keys)
                self.mistakes.append(f"{place}{key}: not a known name; wanted {hint}")

    def table(self, table: Mapping[str, object], key: str) -> Mapping[str, object]:
        """The table named `key`, or an empty one and a mistake."""
        found = table.get(key)
        if not isinstance(found, dict):
            self.say(f"[{key}]", found, "a table of that name")
            return {}
        return found

    def text(self, table: Mapping[str, object], key: str) -> str:
        """The text under `key`, empty if there is none; numbers and dates as they are written."""
        found = table.get(key, "")
        if isinstance(found, (dict, list)):
            self.say(key, found, "a text")
        return str(found)

    def number(
        self, table: Mapping[str, object], place: str, key: str, *, default: float | None = None, positive: bool = False
    ) -> float:
        """A finite number, NaN and a mistake if there is none."""
        found = table.get(key, default)
        value = _number(found)
        if value is None or (positive and value <= 0):
            self.say(place + key, found, "a number above 0" if positive else "a finite number")
            return math.nan
        return value

    def uncertainty(self, table: Mapping[str, object], place: str, key: str) -> float:
        """A standard uncertainty, 0 if nothing is stated, NaN and a mistake if it is none."""
        found = table.get(key, 0)
        value = _number(found)
        if value is None or value < 0:
            self.say(place + key, found, "a standard uncertainty, 0 or more")
            return math.nan
        return value

    def array(self, table: Mapping[str, object], place: str, key: str, shape: tuple[int, ...]) -> Floats | None:
        """Finite numbers in that shape (one or two dimensions), None and a mistake if they are not."""
        found = table.get(key)
        rows = found if len(shape) == 2 else [found]
        if isinstance(rows, list) and all(isinstance(row, list) and len(row) == shape[-1] for row in rows):
            numbers = [_number(item) for row in rows for item in row]
            if len(numbers) == math.prod(shape) and None not in numbers:
                return np.array(numbers, np.float64).reshape(shape)
        self.say(place + key, found, " x ".join(str(n) for n in shape) + " finite numbers")
        return None


def _number(found: object) -> float | None:
    """A finite float of a whole or decimal number; None for everything else (texts, true, nan, inf)."""
    if isinstance(found, bool) or not isinstance(found, (int, float)):
        return None
    try:
        value = float(found)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def read_toml(path: Path) -> tuple[str, dict[str, object]]:
    """Text and table of the file at `path`; CalibrationError if it is no readable TOML."""
    try:
        text = path.read_text(encoding="utf-8")
        return text, tomllib.loads(text)
    except OSError as error:
        problem = f"cannot be read ({error.strerror}); wanted a camera calibration file; check its name and place"
    except UnicodeDecodeError:
        problem = "is not a text in UTF-8; wanted a camera calibration file; save it as UTF-8"
    except tomllib.TOMLDecodeError as error:
        problem = f"is not whole TOML ({error}); wanted key = value lines under [lens] and [pose]; mend that place"
    raise CalibrationError(str(path), [problem])
