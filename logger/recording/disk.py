"""The files of one growing recording on their way to the disk, and what is given up first when there is trouble.

Two lanes: rows (edges and events) and pictures with their stamps. So a picture never holds up an edge, and neither
holds up the loop. A picture is written before its stamp, and every file only grows at its end: after any cut the
shorter of the two says how far the recording goes.

When space runs out the pictures end and everything else goes on: a gate's time is worth more than a picture. A
reserve is set aside at the start for that. When the disk is only too slow, pictures wait in memory; what is too much
for that is left out together with its stamp.
"""

from __future__ import annotations

import errno
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from logger.errors import StoreError
from logger.recording.growing import Growing, Write, line
from logger.recording.lane import Lane
from logger.recording.recovery import RESERVE
from logger.recording.sensor_tables import FRAME_COLUMNS, VIDEO_ENDED
from logger.recording.tables import Columns
from logger.settings import sync_folder

ROWS_GROUP_S = 0.05
"""Edges and events written within this time share one sync."""
PICTURES_GROUP_S = 0.25
ROWS_BYTES = 16_000_000
"""Some 500 000 edges that wait for a disk."""
PICTURES_BYTES = 32_000_000
"""Six seconds and more of pictures that wait for a disk."""
RESERVE_BYTES = 4_000_000
"""Space for about 100 000 edges and events, given back when the disk is full."""
LEAST_BYTES = RESERVE_BYTES + 1_000_000
"""With less free space no recording is begun."""
LOW_BYTES = 100_000_000
"""With less free space people are told that the pictures may end: twenty seconds of large ones."""
LOOK_BYTES = 16_000_000
"""So many bytes of pictures further on the free space is looked at again."""

EDGES, EVENTS, VIDEO, STAMPS = "edges.csv", "events.csv", "video.mjpeg", "frames.csv"
DISK_LOW, DISK_FULL, DISK_SLOW = "disk_low", "disk_full", "disk_slow"
"""The events with which people are told that the disk makes trouble."""
Row: TypeAlias = tuple[str, bytes]
"""File and line."""


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture with its line in frames.csv."""

    t_ns: int
    data: bytes
    stamp: bytes


@dataclass(frozen=True, slots=True)
class Trouble:
    """What went wrong with the disk and did not end the recording."""

    event: str
    words: str
    t_ns: int | None = None
    """The picture's time, where it is about one."""


class Disk:
    """The growing files of one recording. Everything handed over is written at once and soon on the disk itself."""

    def __init__(
        self,
        folder: Path,
        *,
        sync: Callable[[int], None] = os.fdatasync,
        write: Write = os.write,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Set the reserve aside in `folder`, which is there and empty.

        Raises:
            StoreError: there is too little space.
            OSError: it cannot be written.
        """
        self.folder, self._sync, self._write = folder, sync, write
        self._files: dict[str, Growing] = {}
        self._dirty: set[str] = set()
        self._has_new_file = False
        self._lock = threading.Lock()
        self._troubles: list[Trouble] = []
        self._pictures_count = 0
        self._is_filming, self._is_low = True, False
        self._why_not_filming: OSError | None = None
        self._looked_bytes = LOOK_BYTES
        self._set_aside()
        self._rows: Lane[Row] = Lane(
            "rows", write=self._write_rows, sync=self._sync_rows, group_s=ROWS_GROUP_S, most_bytes=ROWS_BYTES,
            now_ns=now_ns,
        )  # fmt: skip
        self._pictures: Lane[Picture] = Lane(
            "pictures", write=self._write_pictures, sync=self._sync_pictures, group_s=PICTURES_GROUP_S,
            most_bytes=PICTURES_BYTES, now_ns=now_ns,
        )  # fmt: skip

    def _set_aside(self) -> None:
        free_bytes = shutil.disk_usage(self.folder).free
        if free_bytes >= LEAST_BYTES:
            try:
                with (self.folder / RESERVE).open("xb") as file:
                    os.posix_fallocate(file.fileno(), 0, RESERVE_BYTES)
                return
            except OSError as error:
                if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                    raise
        raise StoreError(
            f"{self.folder.parent}: {free_bytes / 1e6:.1f} MB are free; a recording needs {LEAST_BYTES / 1e6:.0f} MB, "
            "and with a camera about 5 MB more for each second; free some space, or record onto another disk"
        )

    def put(self, name: str, data: bytes) -> None:
        """Write a whole small file, on the disk itself on return. OSError if it cannot be."""
        with closing(Growing(self.folder / name, self._write)) as file:
            file.append(data)
            self._sync(file.handle)

    def begin(self, name: str, columns: Columns) -> None:
        """Begin a table with its header, on the disk itself on return. OSError if it cannot be."""
        self._files[name] = Growing(self.folder / name, self._write)
        self._files[name].append(_head(columns))
        self._sync(self._files[name].handle)

    def row(self, name: str, data: bytes) -> None:
        """Hand over one line of a file that was begun. StoreError if earlier ones cannot be kept."""
        self._rows.hand((name, data), len(data))

    def picture(self, picture: Picture, *, can_wait: bool) -> bool:
        """Hand over a picture; False: there is no room for it now, and it is not to wait. StoreError as for `row`."""
        return self._pictures.hand(picture, len(picture.data) + len(picture.stamp), can_wait=can_wait)

    def check(self) -> None:
        """StoreError if something handed over cannot be kept."""
        self._rows.check()
        self._pictures.check()

    def troubles(self) -> list[Trouble]:
        """What went wrong since this was called last and did not end the recording."""
        with self._lock:
            troubles, self._troubles = self._troubles, []
        return troubles

    @property
    def unsafe_since_ns(self) -> int | None:
        """When the oldest record was handed over that is not on the disk yet; None if all are."""
        ages = [age for lane in (self._rows, self._pictures) if (age := lane.unsafe_since_ns) is not None]
        return min(ages, default=None)

    def flush(self) -> None:
        """Wait until everything handed over is written (not: on the disk itself). StoreError if it cannot be."""
        self._pictures.flush()
        self._rows.flush()

    def close_pictures(self) -> None:
        """Write and sync what there is of pictures; none can be handed over afterwards. StoreError if that fails."""
        self._pictures.close()

    def close(self) -> None:
        """Write and sync everything. StoreError if something could not be; the files are closed in any case."""
        try:
            try:
                self._pictures.close()
            finally:
                self._rows.close()
        finally:
            for file in self._files.values():
                file.close()

    # --- the rows' threads ---

    def _write_rows(self, rows: Sequence[Row]) -> None:
        together: dict[str, list[bytes]] = {}
        for name, data in rows:
            together.setdefault(name, []).append(data)
        for name, lines in together.items():
            self._append(self._files[name], b"".join(lines))
            self._dirty.add(name)

    def _sync_rows(self) -> None:
        for name in (EDGES, EVENTS):
            self._sync_file(name)

    # --- the pictures' threads ---

    def _write_pictures(self, pictures: Sequence[Picture]) -> None:
        for picture in pictures:
            self._film(picture)
            self._append(self._grown(STAMPS, _head(FRAME_COLUMNS)), picture.stamp)
            self._dirty.add(STAMPS)

    def _film(self, picture: Picture) -> None:
        if self._is_filming:
            try:
                self._grown(VIDEO).append(picture.data)
                self._pictures_count += 1
                self._dirty.add(VIDEO)
                self._look(picture)
            except OSError as error:
                self._stop_filming(error)
        if (why := self._why_not_filming) is not None:
            self._why_not_filming = None
            words = f"before picture {self._pictures_count}: {why.strerror or why}; free some space"
            self._tell(Trouble(VIDEO_ENDED, words, picture.t_ns))

    def _look(self, picture: Picture) -> None:
        """Tell people once when the disk will soon be full."""
        self._looked_bytes += len(picture.data)
        if self._is_low or self._looked_bytes < LOOK_BYTES:
            return
        self._looked_bytes = 0
        free_bytes = shutil.disk_usage(self.folder).free
        if free_bytes < LOW_BYTES:
            self._is_low = True
            words = f"{free_bytes / 1e6:.0f} MB are free; when the disk is full the pictures end; free some space"
            self._tell(Trouble(DISK_LOW, words, picture.t_ns))

    def _grown(self, name: str, head: bytes = b"") -> Growing:
        """A file of pictures or stamps, made when it is first needed: an empty video would be refused by readers."""
        if name not in self._files:
            with told(self.folder / name):
                file = Growing(self.folder / name, self._write)
            self._files[name] = file
            self._has_new_file = True
            if head:
                self._append(file, head)
        return self._files[name]

    def _sync_pictures(self) -> None:
        is_new, self._has_new_file = self._has_new_file, False
        try:
            self._sync_file(VIDEO)
        except StoreError as error:
            self._stop_filming(error)
        self._sync_file(STAMPS)
        if is_new:
            sync_folder(self.folder)

    # --- both ---

    def _sync_file(self, name: str) -> None:
        if name in self._dirty:
            self._dirty.discard(name)  # before the sync: what is written meanwhile needs another one
            file = self._files[name]
            with told(file.path):
                self._sync(file.handle)

    def _append(self, file: Growing, data: bytes) -> None:
        """Write what must be kept. Where there is no space the pictures end, or they would take the reserve too."""
        try:
            file.append(data)
        except OSError as error:
            self._stop_filming(error)
            reserve = self.folder / RESERVE
            is_left = reserve.exists()
            reserve.unlink(missing_ok=True)
            with told(file.path):
                file.append(data)
            if is_left:
                words = f"{error.strerror}: the {RESERVE_BYTES / 1e6:.0f} MB set aside are in use now; free some space"
                self._tell(Trouble(DISK_FULL, words))

    def _stop_filming(self, error: OSError) -> None:
        """May be called by any of the threads; the next picture tells from where on."""
        with self._lock:
            if self._is_filming:
                self._is_filming, self._why_not_filming = False, error

    def _tell(self, trouble: Trouble) -> None:
        with self._lock:
            self._troubles.append(trouble)


def _head(columns: Columns) -> bytes:
    return line((*columns.needed, *columns.optional))


@contextmanager
def told(path: Path) -> Iterator[None]:
    """An OSError in here becomes a StoreError that says that `path` cannot be written, and what to do."""
    try:
        yield
    except StoreError:
        raise
    except OSError as error:
        words = f"{path}: cannot be written ({error.strerror}); free some space or check permissions"
        raise StoreError(words) from error
