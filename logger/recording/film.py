"""Copies of a recording's pictures for other programs. The recording itself is the truth and stays as it is.

`mov` holds the camera's own JPEGs, untouched, each at its own time to the microsecond: for whoever measures or edits.
`webm` is coded anew (VP8, as browsers show it), each picture at its own time to the millisecond: for whoever watches.
Neither is read again by us; `frames.csv` is what counts. PyAV writes them. It is an extra, because it is large and
what it is linked with (FFmpeg and its coders) has other terms than this project.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import IO, Any, Literal, TypeAlias

from logger.errors import InputError
from logger.recording import jpeg
from logger.recording.folder import Recording
from logger.recording.video import holds_jpegs, packets
from logger.settings import sync_folder

Form: TypeAlias = Literal["mov", "webm"]
Progress: TypeAlias = Callable[[int], None]
"""Told how many pictures are done."""

MICROSECOND, MILLISECOND = Fraction(1, 1_000_000), Fraction(1, 1000)
INSTALL = "pip install 'boatrun[film]'"
WEBM_BITS_PER_PIXEL = 0.1
"""At 30 pictures a second; more than a screen needs of still water."""
WEBM_KEY_EVERY_COUNT = 30
"""So many pictures from one to which a browser can jump to the next."""


def write_film(recording: Recording, to: Path, form: Form, *, progress: Progress = lambda _: None) -> int:
    """Make a copy of the recording's pictures at `to`, whole or not at all, and never over something else.

    Damaged pictures are left out; the others keep their times, counted from the first stamp of the recording.

    Returns:
        How many pictures are in it.

    Raises:
        InputError: there are no pictures, PyAV is missing, `to` is there already, or the copy was read back and is not
            what was written.
        OSError: `to` cannot be written.
    """
    if recording.video is None or recording.stamps is None or not len(recording.stamps.t_ns):
        raise InputError(f"{recording.folder}: there are no pictures in it; nothing to make a film of")
    if form == "mov" and not holds_jpegs(recording.video):
        raise InputError(
            f"{recording.video}: its pictures are no JPEGs, and mov keeps them as they are; make a webm instead"
        )
    av = _pyav()
    write = _write_mov if form == "mov" else _write_webm
    with _new_whole(to) as (file, growing):
        written = write(av, recording, file, progress)
        file.flush()
        _check(av, growing, written, to=to, unit=MICROSECOND if form == "mov" else MILLISECOND)
    return len(written)


def _pyav() -> ModuleType:
    try:
        import av
    except ImportError as error:
        raise InputError(f"film: PyAV cannot be loaded ({error}); it is needed for films; {INSTALL}") from error
    return av


@contextmanager
def _new_whole(to: Path) -> Iterator[tuple[IO[bytes], Path]]:
    """A file under another name that becomes `to` in the end, if nothing else has."""
    refuse_film(to)
    growing = to.with_name(f".{to.name}.{os.getpid()}")
    try:
        with growing.open("xb") as file:
            yield file, growing
            file.flush()
            os.fsync(file.fileno())
        refuse_film(to)
        growing.rename(to)
    finally:
        growing.unlink(missing_ok=True)
    sync_folder(to.parent)


def refuse_film(to: Path) -> None:
    """Raise InputError if there is something at `to`."""
    if to.exists():
        raise InputError(f"{to}: there is such a film already; move it away, or choose another folder with --to")


def _write_mov(av: Any, recording: Recording, file: IO[bytes], progress: Progress) -> list[int]:
    """JPEGs as they are; their times in µs. In fragments, so that it could be read even if it were cut."""
    assert recording.stamps is not None and recording.video is not None  # noqa: S101, PT018 for mypy
    stamps = recording.stamps.t_ns.tolist()
    times, written = _later(stamps, MICROSECOND), []
    options = {"movflags": "frag_keyframe+empty_moov"}
    with av.open(file, "w", format="mov", options=options) as container:
        stream = None
        for number, data in enumerate(packets(recording.video)):
            if number >= len(stamps):
                break
            if number in recording.damaged:
                continue
            if stream is None:
                width, height = jpeg.size_px(data)
                stream = container.add_mux_stream("mjpeg", rate=30, width=width, height=height)
                stream.time_base = MICROSECOND
            packet = av.Packet(data[: jpeg.look(data).end_index])
            packet.stream, packet.time_base, packet.is_keyframe = stream, MICROSECOND, True
            packet.pts = packet.dts = times[number]
            packet.duration = _until_next(times, number)
            container.mux(packet)
            written.append(times[number])
            progress(number + 1)
    return written


def _write_webm(av: Any, recording: Recording, file: IO[bytes], progress: Progress) -> list[int]:
    """Coded anew; their times in ms, which is what the container holds."""
    assert recording.stamps is not None  # noqa: S101 for mypy
    times, written = _later(recording.stamps.t_ns.tolist(), MILLISECOND), []
    with av.open(file, "w", format="webm") as container:
        stream = None
        for frame in recording.frames():
            if stream is None:
                stream = _vp8(container, width=frame.image.shape[1], height=frame.image.shape[0])
            picture = av.VideoFrame.from_ndarray(frame.image, format="bgr24")
            picture.pts, picture.time_base = times[frame.sequence], MILLISECOND
            container.mux(stream.encode(picture))
            written.append(times[frame.sequence])
            progress(frame.sequence + 1)
        if stream is not None:
            container.mux(stream.encode())
    return written


def _vp8(container: Any, *, width: int, height: int) -> Any:
    options = {"deadline": "realtime", "cpu-used": "8", "lag-in-frames": "0", "auto-alt-ref": "0"}
    stream = container.add_stream("libvpx", rate=30, options=options)
    stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
    stream.time_base = stream.codec_context.time_base = MILLISECOND
    stream.codec_context.gop_size = WEBM_KEY_EVERY_COUNT
    stream.bit_rate = max(200_000, round(width * height * 30 * WEBM_BITS_PER_PIXEL))
    return stream


def _later(stamps_ns: list[int], unit: Fraction) -> list[int]:
    """Stamps in whole units since the first, each more than the one before."""
    per_ns = unit * 1_000_000_000
    later: list[int] = []
    for stamp_ns in stamps_ns:
        time = round(Fraction(stamp_ns - stamps_ns[0]) / per_ns)
        later.append(max(time, later[-1] + 1) if later else time)
    return later


def _until_next(times: list[int], number: int) -> int:
    """How long a picture is shown; the last one as long as the one before it."""
    if len(times) == 1:
        return 33_333
    at = min(number, len(times) - 2)
    return times[at + 1] - times[at]


def _check(av: Any, path: Path, written: list[int], *, to: Path, unit: Fraction) -> None:
    """Read the times back: whole pictures at the times that were meant, or no film."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        found = [round(packet.pts * stream.time_base / unit) for packet in container.demux(stream) if packet.size]
    if found != written:
        raise InputError(f"{to}: {len(written)} pictures were written and {len(found)} read back; report this fault")
