"""counts.toml: what people counted in a run after its recording had ended, beside what the recorder wrote.

The recorder's own files are never changed. What is counted later, on a page, stands in this one file; it is written
anew as a whole when somebody counts again or takes a count back, and whoever loads the recording reads it as the last
word of a person (see by_hand in logger/results).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from logger import settings
from logger.errors import ConfigError
from logger.recording.rig_toml import without_format
from logger.recording.sensor_tables import COUNTED, MOST_COUNT, Event

FILE = "counts.toml"
FORMAT = "boatrun-counts/1"


def read_counts(folder: Path) -> Mapping[str, int]:
    """What was counted later in the recording in `folder`, by the word for it; empty without the file.

    Raises:
        InputError: it is no TOML.
        ConfigError: it says something wrong; all mistakes at once.
    """
    path = folder / FILE
    if not path.exists():
        return {}
    table = without_format(settings.load_table(path), FORMAT, file=str(path))
    mistakes = [
        f"{word}: found {found!r}; wanted how many were counted, a whole number from 0 to {MOST_COUNT}, of "
        f"{', '.join(COUNTED)}"
        for word, found in table.items()
        if word not in COUNTED or isinstance(found, bool) or not isinstance(found, int) or not 0 <= found <= MOST_COUNT
    ]
    if mistakes:
        raise ConfigError(str(path), mistakes)
    return table


def write_counts(folder: Path, counts: Mapping[str, int]) -> bool:
    """Keep these counts and no others; whether the file says anything new by that. OSError: it cannot be written."""
    path, known = folder / FILE, {word: counts[word] for word in COUNTED if word in counts}
    text = settings.dump({"format": FORMAT, **known}).encode()
    before = path.read_bytes() if path.exists() else None
    if before == text or (before is None and not known):
        return False
    settings.write_whole(path, text)
    return True


def as_events(counts: Mapping[str, int], *, at_ns: int) -> tuple[Event, ...]:
    """The counts as the last words of the recording, whose last moment was `at_ns`."""
    return tuple(Event(at_ns, word, FILE, str(count)) for word, count in counts.items())
