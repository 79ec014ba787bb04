"""Small recordings to open, to break, and to write."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.config import Boat, CameraSetup, Gate, Line, Rig, RunCard, Tank
from logger.records import Frame

WIDTH_PX, HEIGHT_PX = 64, 48
CAMERA_TOML = f"""format = "boatrun-camera/1"
[lens]
width_px = {WIDTH_PX}
height_px = {HEIGHT_PX}
fx_px = 50
fy_px = 50
cx_px = 31.5
cy_px = 23.5
[pose]
rotation_vector = [3.141592653589793, 0, 0]
camera_mm = [500, 0, 1000]
"""
PROJECT = Path(__file__).resolve().parents[3]
FORMATS = PROJECT / "logger" / "recording" / "FORMATS.md"


def picture(number: int) -> np.ndarray:
    """Grey noise with a red square that stands 4 pixels further right in each picture."""
    image = np.random.default_rng(number).integers(90, 110, (HEIGHT_PX, WIDTH_PX, 3), np.uint8)
    left = 4 * (number % 14)
    image[20:28, left : left + 8] = (0, 0, 250)
    return image


def jpeg(number: int) -> bytes:
    return cv2.imencode(".jpg", picture(number))[1].tobytes()


def large_jpeg() -> bytes:
    """Half a megabyte, most of it comments (T.81 B.2.4.5)."""
    data = jpeg(0)
    return data[:2] + (b"\xff\xfe\xea\x62" + b"x" * 60000) * 8 + data[2:]


def frame(number: int, *, t_ns: int | None = None) -> Frame:
    data = jpeg(number)
    stamp = 1_000_000_000 + number * 33_333_333 if t_ns is None else t_ns
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    return Frame(stamp, image, number, "overhead", 5_000_000, 15_000, data)


def example_texts() -> dict[str, str]:
    """The files of the example in FORMATS.md by name; the camera's part is added to rig.toml."""
    text = FORMATS.read_text(encoding="utf-8")
    named = re.findall(r"^`([\w.]+)`[^\n]*\n```\w+\n(.*?)```$", text, re.MULTILINE | re.DOTALL)
    found = dict(named)
    camera = re.search(r"in the same `rig.toml`:\n```toml\n(.*?)```", text, re.DOTALL)
    assert camera is not None
    found["rig.toml, camera"] = camera[1]
    return found


def write_example(folder: Path, *, camera: bool) -> Path:
    """The example of FORMATS.md as a recording: its gates only, or all of it with a video that fits."""
    texts = example_texts()
    folder.mkdir(parents=True, exist_ok=True)
    rig = texts["rig.toml"] + ("\n" + texts["rig.toml, camera"] if camera else "")
    (folder / "rig.toml").write_text(rig, encoding="utf-8")
    for name in ("recording.toml", "edges.csv", *(("camera.toml", "frames.csv", "events.csv") if camera else ())):
        (folder / name).write_text(texts[name], encoding="utf-8")
    if camera:
        pictures = (np.full((720, 1280, 3), shade, np.uint8) for shade in (100, 110, 120))
        (folder / "video.mjpeg").write_bytes(b"".join(cv2.imencode(".jpg", p)[1].tobytes() for p in pictures))
    return folder


@pytest.fixture
def gates_only(tmp_path: Path) -> Path:
    return write_example(tmp_path / "run-1", camera=False)


def write_with_camera(folder: Path) -> Path:
    """A recording of ten small pictures and four edges."""
    write_example(folder, camera=True)
    (folder / "camera.toml").write_text(CAMERA_TOML, encoding="utf-8")
    (folder / "video.mjpeg").write_bytes(b"".join(jpeg(n) for n in range(10)))
    stamps = "".join(f"{n},{4_800_000_000 + 33_333_333 * n}\n" for n in range(10))
    (folder / "frames.csv").write_text("frame,t_ns\n" + stamps)
    return folder


@pytest.fixture
def with_camera(tmp_path: Path) -> Path:
    return write_with_camera(tmp_path / "run-1")


def a_rig() -> Rig:
    """A tub with a gate at each line and a camera."""
    tank = Tank(outline_mm=((0.0, -200.0), (1000.0, -200.0), (1000.0, 200.0), (0.0, 200.0)), water_depth_mm=80.0)
    lines = (
        Line("start", "start", (100.0, -200.0), (100.0, 200.0)),
        Line("finish", "finish", (900.0, -200.0), (900.0, 200.0)),
    )
    gates = (Gate("first", "start"), Gate("last, by the wall", "finish"))
    return Rig("Tub", tank, lines, gates, camera=CameraSetup(None, "over the bath.toml"))


CARD = RunCard(id="r7", kind="straight", recorded_at="2026-05-04T10:15:00+02:00", boat=Boat(name="Paper Swan"))
RIG = a_rig()
CAMERA = CAMERA_TOML.encode()


@pytest.fixture
def card() -> RunCard:
    return CARD


@pytest.fixture
def rig() -> Rig:
    return RIG


@pytest.fixture
def camera_toml() -> bytes:
    return CAMERA


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@contextmanager
def mounted(place: Path, kind: str, *, size_mb: int) -> Iterator[Path]:
    """A real small filesystem, `tmpfs`, or `ext4` on a file `place`.img; skips the test where none can be mounted.

    With `ext4 as it is` the file is there already, and is mended by the kernel as after a loss of power.
    """
    if os.geteuid() != 0:
        pytest.skip("only root can mount a small disk")
    place.mkdir()
    image = place.with_name(f"{place.name}.img")
    how = ["-t", "tmpfs", "-o", f"size={size_mb}m", "none"]
    if kind == "ext4":
        make = shutil.which("mkfs.ext4") or "/usr/sbin/mkfs.ext4"
        if not Path(make).exists():
            pytest.skip("there is no mkfs.ext4 here")
        with image.open("wb") as file:
            file.truncate(size_mb * 1_000_000)
        subprocess.run([make, "-q", "-F", "-m", "0", str(image)], check=True)
    if kind.startswith("ext4"):
        how = ["-t", "ext4", "-o", "loop", str(image)]
    if (done := subprocess.run(["mount", *how, str(place)], capture_output=True, text=True, check=False)).returncode:
        pytest.skip(f"no {kind} can be mounted here: {done.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)  # a test that failed may have left files open


def fill_up(place: Path) -> Path:
    """A file that takes all the space that is left."""
    hog = place / "hog"
    size_bytes = 1 << 20
    with hog.open("ab", buffering=0) as file:
        while size_bytes:
            try:
                file.write(bytes(size_bytes))
            except OSError:
                size_bytes //= 2
    return hog
