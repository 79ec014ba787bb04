"""The pulled plug: what there was when the power went, and what is there after it came back.

While a recording grows, a sign of life is put on the disk four times a second: how many edges and pictures had come.
After the start the recording is opened like any other. Whether the power really was off is told by the kernel's boot
id, which is another after every start (Linux: random(4), /proc/sys/kernel/random/boot_id). That earlier recordings
are whole is told by their checksums from before.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from logger.checkup.acceptance import LOST_S
from logger.checkup.gate_trials import Judged
from logger.errors import InputError, LoggerError, StoreError
from logger.recording.folder import Recording, load
from logger.recording.recovery import ENDING, is_unfinished, unfinished_name
from logger.settings import write_whole

NAME = "plug"
"""The item's word."""
BEGUN, SIGNS = "plug.json", "signs.txt"
SIGN_EVERY_S = 0.25
_WHOLE_BYTES = 4_000_000
"""Files up to that are read whole for their checksum; of larger ones the size and the last part count."""


@dataclass(frozen=True, slots=True)
class Begun:
    """What was known before the plug was pulled."""

    recording: str
    """Path of the recording as it was to be called."""
    boot_id: str
    at: str
    before: dict[str, str]
    """Earlier recordings' files -> size and checksum."""


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign of life."""

    t_ns: int
    edges_count: int
    frames_count: int


def boot_id(root: Path = Path("/")) -> str:
    """The kernel's name for the time since it was started; empty if it does not say."""
    try:
        return (root / "proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return ""


def begin(folder: Path, begun: Begun) -> None:
    """Keep what is known before. StoreError if that cannot be."""
    try:
        write_whole(folder / BEGUN, json.dumps(asdict(begun), indent=1) + "\n")
        (folder / SIGNS).unlink(missing_ok=True)
    except OSError as error:
        raise StoreError(f"{folder}: cannot be written ({error.strerror}); free some space") from error


def begun_in(folder: Path) -> Begun | None:
    """What was kept before the plug was pulled; None if it was not begun."""
    try:
        table: dict[str, Any] = json.loads((folder / BEGUN).read_text(encoding="utf-8"))
        return Begun(**table)
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            f"{folder / BEGUN}: cannot be read ({error}); delete it and pull the plug once more"
        ) from error


def over(folder: Path) -> None:
    """It was judged: the next pulled plug begins anew. What was kept stays, under another name."""
    for name in (BEGUN, SIGNS):
        path = folder / name
        if path.exists():
            number = 1
            while (aside := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
                number += 1
            path.rename(aside)


class Signs:
    """Writes signs of life, each on the disk itself before it returns."""

    def __init__(self, folder: Path) -> None:
        self._handle = os.open(folder / SIGNS, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)

    def give(self, sign: Sign) -> None:
        """One more."""
        os.write(self._handle, f"{sign.t_ns} {sign.edges_count} {sign.frames_count}\n".encode())
        os.fsync(self._handle)

    def close(self) -> None:
        """No more come."""
        os.close(self._handle)


def signs_in(folder: Path) -> list[Sign]:
    """All that were given; a last line that was cut short is left out."""
    try:
        lines = (folder / SIGNS).read_text(encoding="ascii", errors="replace").split("\n")[:-1]
    except OSError:
        return []
    found = []
    for line in lines:
        words = line.split()
        if len(words) == 3 and all(word.isdigit() for word in words):
            found.append(Sign(*map(int, words)))
    return found


def checksums(recordings: Path) -> dict[str, str]:
    """Every file of the finished recordings in a folder -> its size and checksum."""
    return {
        str(path.relative_to(recordings)): _checksum(path)
        for path in sorted(_files(recordings))
        if not any(part.endswith(ENDING) for part in path.relative_to(recordings).parts)
    }


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))


def _checksum(path: Path) -> str:
    size = path.stat().st_size
    with path.open("rb") as file:
        file.seek(max(0, size - _WHOLE_BYTES))
        return f"{size} {hashlib.sha256(file.read()).hexdigest()}"


def judged(folder: Path, begun: Begun, *, boot: str, has_camera: bool, has_gates: bool) -> Judged | str:
    """What is to be said after the start; a sentence if nothing can be said yet."""
    signs = signs_in(folder)
    if not begun.boot_id or boot == begun.boot_id:
        return "the computer was not switched off since the recording began: pull its plug while it records"
    if not signs:
        return "the power went before the recording gave a sign of life: once more, and wait for the word to pull"
    asked = Path(begun.recording)
    grown = unfinished_name(asked) if unfinished_name(asked).exists() else asked
    try:
        recording = load(grown)
    except LoggerError as error:
        cure = "look at the memory card and its file system; report this with the folder"
        return Judged(False, (f"the recording cannot be opened: {error}",), cure)
    found, cures = _kept(recording, signs, has_camera=has_camera, has_gates=has_gates)
    if not is_unfinished(grown):
        found.append("the recording had ended before the power went")
        cures.append("once more, and pull the plug when told to")
    changed = _changed(begun, asked.parent)
    count = len({name.split("/", 1)[0] for name in begun.before})
    found.append(f"{count} earlier recording{'s' * (count != 1)}: " + (changed or "whole, file by file"))
    if changed:
        cures.append("look at the memory card and its file system, take a better one, restore from the backup")
    at = datetime.fromtimestamp((folder / SIGNS).stat().st_mtime).astimezone()
    found.append(f"last sign of life {at:%Y-%m-%d %H:%M:%S}; kept as {grown.name}, to be measured like any other")
    return Judged(not cures, tuple(found), "; ".join(cures))


def _kept(recording: Recording, signs: list[Sign], *, has_camera: bool, has_gates: bool) -> tuple[list[str], list[str]]:
    """What is there of what had come, in words, and what to do about it."""
    last = signs[-1]
    sure = next((sign for sign in reversed(signs) if sign.t_ns <= last.t_ns - LOST_S * 1e9), None)
    edges = len(recording.edges)
    frames = 0 if recording.stamps is None else len(recording.stamps.t_ns)
    length_s = (last.t_ns - signs[0].t_ns) / 1e9
    kept = [f"{edges} of {last.edges_count} edges"] if has_gates else []
    kept += [f"{frames} of {last.frames_count} pictures"] if has_camera else []
    found = [f"{' and '.join(kept)} that had come by the last sign of life, {length_s:.1f} s after the first, are kept"]
    cures = []
    if has_camera and recording.stamps is not None and frames and last.frames_count > frames:
        missing_s = (last.frames_count - frames) * _between_s(recording)
        found.append(f"the last {missing_s:.2f} s of pictures are not; {LOST_S:g} s allowed")
    if sure is None:
        found.append(f"it had recorded for less than {LOST_S:g} s")
        cures.append("once more: wait for the word to pull")
    elif (has_gates and edges < sure.edges_count) or (has_camera and frames < sure.frames_count):
        cures.append(
            "take a better memory card (class A1), end other programs, look what boatrun check says of the disk"
        )
    elif has_gates and not sure.edges_count:
        found.append(f"no beam was broken more than {LOST_S:g} s before")
        cures.append("once more: wave a straw through a beam all the time")
    elif has_camera and not sure.frames_count:
        found.append(f"no picture had come more than {LOST_S:g} s before")
        cures.append("once more: wait for the word to pull; look at the camera")
    return found, cures


def _between_s(recording: Recording) -> float:
    stamps = recording.stamps
    if stamps is None or len(stamps.t_ns) < 2:
        return 0.0
    return float(stamps.t_ns[-1] - stamps.t_ns[0]) / (len(stamps.t_ns) - 1) / 1e9


def _changed(begun: Begun, recordings: Path) -> str:
    now = checksums(recordings)
    other = sorted(name for name, sum_ in begun.before.items() if now.get(name) != sum_)
    return f"changed or gone: {', '.join(other[:5])}" if other else ""
