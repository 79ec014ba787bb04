"""Films for the machine's camera, painted on the host, where a picture takes milliseconds and not a second.

    python -m tests.hil.film FOLDER

`run/` is a whole simulated run in the form of a recording, its pictures reduced to half size so that an emulated
computer can decode them as they come, with the camera file of such a camera. `tank/` holds JPEGs of 640 × 480 of the
same tank, numbered, for going on and on.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np

from logger import settings
from logger.recording.folder import load
from logger.simulator.live import SimulatedTank

RATE_HZ = 10.0
REDUCED = (640, 360)
TANK_PICTURES_COUNT = 60
TANK_SIZE = (640, 480)
QUALITY = 85
BEGINS_NS = 1_000_000_000_000
"""Of the run in its own file; what is played gets the stamps of the hour in which it is played."""


def tank() -> SimulatedTank:
    """The run that is played: a boat of 0.25 m/s on 0.8 m, one that the tracker sees well even at half the size."""
    return SimulatedTank(
        tier="easy", kind="straight", seed=12, begins_ns=BEGINS_NS, frame_rate_hz=RATE_HZ, rig_errors=False
    )


def paint(folder: Path) -> None:
    """Write both films."""
    run = folder / "run"
    tank().write(run)
    images = [frame.image for frame in load(run).frames()]
    reduce_run(run, images)
    keep_middle(folder / "tank", images[:TANK_PICTURES_COUNT])


def reduce_run(folder: Path, images: list[np.ndarray]) -> None:
    """Make of the run one of half the picture size."""
    with (folder / "video.mjpeg").open("wb") as film:
        film.writelines(_packed(image, REDUCED) for image in images)
    camera = folder / "camera.toml"
    camera.write_text(settings.dump(halved(settings.load_table(camera))), encoding="utf-8")
    rig = folder / "rig.toml"
    table = settings.load_table(rig)
    table["camera"]["line_ns"] *= 2  # type: ignore[index, operator]  # one row of half the size is two of the whole
    rig.write_text(settings.dump(table), encoding="utf-8")


def halved(table: dict[str, object]) -> dict[str, object]:
    """The camera file of the same camera with half the pixels each way. Pixel centres lie on whole numbers."""
    lens = dict(table["lens"])  # type: ignore[call-overload]
    lens |= {name: lens[name] // 2 for name in ("width_px", "height_px")}
    lens |= {name: lens[name] / 2 for name in ("fx_px", "fy_px")}
    lens |= {name: (lens[name] + 0.5) / 2 - 0.5 for name in ("cx_px", "cy_px")}
    return table | {"lens": lens}


def keep_middle(folder: Path, images: list[np.ndarray]) -> None:
    """Pictures of the middle of the tank."""
    folder.mkdir()
    for number, image in enumerate(images):
        height_px, width_px = image.shape[:2]
        left_px = (width_px - height_px * TANK_SIZE[0] // TANK_SIZE[1]) // 2
        (folder / f"{number:03}.jpg").write_bytes(_packed(image[:, left_px : width_px - left_px], TANK_SIZE))


def _packed(image: np.ndarray, size: tuple[int, int]) -> bytes:
    smaller = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return cv2.imencode(".jpg", smaller, (cv2.IMWRITE_JPEG_QUALITY, QUALITY))[1].tobytes()


if __name__ == "__main__":
    paint(Path(sys.argv[1]))
