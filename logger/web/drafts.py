"""What was typed and sent but not calibrated with yet: kept on the disk, so that a page can be left and taken up again.

It stands in the folder `drafts` beside the rig file, a folder for each step; what is sent again takes its place. What
was calibrated with is copied to the evidence by whoever calibrates; a draft is nobody's evidence.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Mapping
from pathlib import Path

from logger.errors import StoreError
from logger.settings import write_whole

_VALUES = "values.json"
_MOST_SIGNS = 100_000


class Drafts:
    """All drafts of one rig."""

    def __init__(self, rig_file: Path) -> None:
        self.folder = rig_file.absolute().parent / "drafts"

    def values(self, step: str) -> dict[str, str]:
        """What was typed for a step; empty if nothing was, or it cannot be read any more."""
        try:
            found = json.loads((self.folder / step / _VALUES).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}

    def keep(self, step: str, values: Mapping[str, str]) -> dict[str, str]:
        """Keep what was typed, beside what was typed before; all of it. StoreError: no room."""
        every = self.values(step) | {name: value[:_MOST_SIGNS] for name, value in values.items()}
        self._write(step, _VALUES, json.dumps(every, ensure_ascii=False, indent=1))
        return every

    def put(self, step: str, name: str, content: bytes | str) -> Path:
        """Keep a file under `name`; one of the same name, with whatever ending, goes. StoreError: no room."""
        for older in self.files(step, Path(name).stem):
            older.unlink(missing_ok=True)
        return self._write(step, name, content)

    def file(self, step: str, stem: str) -> Path | None:
        """The file of that name, whatever its ending."""
        return next(iter(self.files(step, stem)), None)

    def files(self, step: str, stem: str = "") -> list[Path]:
        """All files of a step, or those of that name, in the order of their names."""
        folder = self.folder / step
        found = sorted(folder.iterdir()) if folder.is_dir() else []
        return [one for one in found if one.name != _VALUES and one.is_file() and stem in ("", one.stem)]

    def clear(self, step: str) -> None:
        """Forget a step's draft."""
        shutil.rmtree(self.folder / step, ignore_errors=True)

    def _write(self, step: str, name: str, content: bytes | str) -> Path:
        path = self.folder / step / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
        except OSError as error:
            raise StoreError(f"{path}: cannot be kept ({error.strerror}); free some space") from error
        return path


def plain_name(text: str) -> str:
    """A name for a file out of what a browser says that it was called: letters, digits, dots and dashes, no folders."""
    name = re.sub(r"[^\w.-]+", "_", text.replace("\\", "/").rsplit("/", 1)[-1], flags=re.ASCII).strip("._")
    return name[-60:] or "picture"
