"""What is asked of a V4L2 camera, in the order in which it must be asked, and whether it was granted.

A camera says yes and does something else: each setting is read back. Only compressed pictures are taken: raw ones of
1280 × 720 at 30 a second are 55 MB/s, more than USB 2 carries, and would have to be coded here, late and with a loss
that the camera's own JPEGs do not have twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

import cv2

from logger.drivers.frame_stamps import S_NS
from logger.errors import DriverError
from logger.settings import Range, Text

MANUAL_EXPOSURE = 1
"""V4L2_EXPOSURE_MANUAL; 3, aperture priority, is a webcam's automatic."""
EXPOSURE_STEP_US = 100
"""The unit of V4L2_CID_EXPOSURE_ABSOLUTE."""
ABSENT = -1
"""What OpenCV says of a control that is not there."""
EXPOSURE_OFF_RATIO, RATE_OFF_RATIO = 0.1, 0.1


@dataclass(frozen=True, slots=True)
class V4l2Options:
    """What rig.toml says of a V4L2 camera."""

    device: Annotated[str, Text(most=400, least=1)] = "/dev/video0"
    """A name in /dev/v4l/by-id or by-path stays the same when cameras are plugged in another order."""
    width_px: Annotated[int, Range(least=16, most=16384)] = 1280
    height_px: Annotated[int, Range(least=16, most=16384)] = 720
    rate_hz: Annotated[float, Range(above=0, most=1000)] = 30.0
    """Pictures a second."""
    fourcc: Literal["MJPG", "JPEG"] = "MJPG"
    exposure_us: Annotated[int, Range(least=EXPOSURE_STEP_US, most=1_000_000)] | None = None
    """Fixed exposure; without it the camera chooses, and nobody knows when a picture was taken to the millisecond."""
    gain: Annotated[int, Range(least=0)] | None = None
    """Fixed gain, in the camera's own steps."""
    focus: Annotated[int, Range(least=0)] | None = None
    """Fixed focus, in the camera's own steps; a focus that moves spoils the calibration."""
    white_balance_k: Annotated[int, Range(least=1000, most=20000)] | None = None
    """Fixed colour temperature in kelvin."""
    line_ns: Annotated[int, Range(least=0, most=1_000_000)] = 0
    """From one row's exposure to the next row's; a webcam does not tell it. 0: all rows at once."""
    stamps: Literal["kernel", "arrival"] = "kernel"
    """arrival: by when a picture was here, which is known much worse; for a driver with a broken clock."""
    come_back_s: Annotated[float, Range(least=0, most=86400)] = 600.0
    """How long an unplugged camera is waited for."""


@dataclass(frozen=True, slots=True)
class Granted:
    """What the camera does."""

    rate_hz: float
    """Pictures a second, as the camera says, or as asked where it does not say."""
    is_rate_told: bool
    exposure_ns: int
    """0: not fixed, not known."""

    @property
    def period_ns(self) -> int:
        """From one picture to the next."""
        return round(S_NS / self.rate_hz)


def settle(capture: Any, options: V4l2Options) -> Granted:
    """Make an opened cv2.VideoCapture what the options ask for, and read all of it back.

    Raises:
        DriverError: something else was granted.
    """
    o = options
    code = cv2.VideoWriter.fourcc(*o.fourcc)
    # in this order: size and rate depend on the code, a new code or size resets the stream
    for name, value in (
        (cv2.CAP_PROP_FOURCC, code),
        (cv2.CAP_PROP_FRAME_WIDTH, o.width_px),
        (cv2.CAP_PROP_FRAME_HEIGHT, o.height_px),
        (cv2.CAP_PROP_FPS, o.rate_hz),
        (cv2.CAP_PROP_CONVERT_RGB, 0),
    ):
        capture.set(name, value)
    _check_format(capture, o)
    rate_hz, is_told = _rate(capture, o)
    exposure_ns = _exposure_ns(capture, o, period_us=1e6 / rate_hz)
    _lock(capture, o, "gain", "gain", o.gain, cv2.CAP_PROP_GAIN)
    _lock(capture, o, "focus", "focus", o.focus, cv2.CAP_PROP_FOCUS, automatic=cv2.CAP_PROP_AUTOFOCUS)
    _lock(
        capture, o, "white_balance_k", "colour temperature",
        o.white_balance_k, cv2.CAP_PROP_WB_TEMPERATURE, automatic=cv2.CAP_PROP_AUTO_WB,
    )  # fmt: skip
    return Granted(rate_hz, is_told, exposure_ns)


def letters(code: float) -> str:
    """The four letters of a picture format as OpenCV tells it."""
    plain = int(code) & 0xFFFFFFFF
    text = "".join(chr(plain >> shift & 0xFF) for shift in (0, 8, 16, 24))
    return text if text.isprintable() else f"{plain:#010x}"


def _check_format(capture: Any, o: V4l2Options) -> None:
    asked = f"{o.width_px} x {o.height_px} {o.fourcc}"
    width, height = (round(capture.get(p)) for p in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT))
    granted = f"{width} x {height} {letters(capture.get(cv2.CAP_PROP_FOURCC))}"
    if granted != asked:
        raise DriverError(
            f"{o.device}: asked for pictures of {asked}, the camera gives {granted}; ask for one of its formats "
            "(v4l2-ctl --list-formats-ext lists them), compressed as MJPG"
        )
    if capture.get(cv2.CAP_PROP_CONVERT_RGB) != 0:
        raise DriverError(f"{o.device}: OpenCV does not hand out the camera's own JPEGs; install opencv-python 5")


def _rate(capture: Any, o: V4l2Options) -> tuple[float, bool]:
    rate_hz = capture.get(cv2.CAP_PROP_FPS)
    if not 0 < rate_hz < 1e6:
        return o.rate_hz, False
    if abs(rate_hz / o.rate_hz - 1) > RATE_OFF_RATIO:
        raise DriverError(
            f"{o.device}: asked for {o.rate_hz:g} pictures a second of {o.width_px} x {o.height_px}, the camera gives "
            f"{rate_hz:g}; ask for a rate that it has (v4l2-ctl --list-formats-ext lists them)"
        )
    return rate_hz, True


def _exposure_ns(capture: Any, o: V4l2Options, *, period_us: float) -> int:
    if o.exposure_us is None:
        return 0
    if o.exposure_us > period_us:
        raise DriverError(
            f"{o.device}: exposure_us: found {o.exposure_us}, wanted at most {period_us:.0f}, the time of one picture; "
            "expose shorter, or ask for fewer pictures a second"
        )
    if capture.get(cv2.CAP_PROP_AUTO_EXPOSURE) != ABSENT:
        capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, MANUAL_EXPOSURE)
        if (mode := capture.get(cv2.CAP_PROP_AUTO_EXPOSURE)) != MANUAL_EXPOSURE:
            raise DriverError(
                f"{o.device}: asked for a fixed exposure, the camera stays in automatic mode {mode:g}; "
                "take exposure_us away, or take another camera"
            )
    capture.set(cv2.CAP_PROP_EXPOSURE, max(1, round(o.exposure_us / EXPOSURE_STEP_US)))
    steps: float = capture.get(cv2.CAP_PROP_EXPOSURE)
    granted_us = steps * EXPOSURE_STEP_US
    if steps == ABSENT or abs(granted_us - o.exposure_us) > max(EXPOSURE_STEP_US, EXPOSURE_OFF_RATIO * o.exposure_us):
        found = "has none that can be fixed" if steps == ABSENT else f"gives {granted_us:g} µs"
        raise DriverError(
            f"{o.device}: asked for an exposure of {o.exposure_us} µs, the camera {found}; "
            "ask for another one, or take exposure_us away"
        )
    return round(granted_us * 1000)


def _lock(
    capture: Any, o: V4l2Options, name: str, what: str, wanted: int | None, number: int, *, automatic: int | None = None
) -> None:
    if wanted is None:
        return
    if automatic is not None and capture.get(automatic) != ABSENT:
        capture.set(automatic, 0)
        if capture.get(automatic) != 0:
            raise DriverError(
                f"{o.device}: asked for a fixed {what}, the camera goes on setting it itself; take {name} away"
            )
    capture.set(number, wanted)
    found = capture.get(number)
    if found != wanted:
        words = "has none that can be fixed" if found == ABSENT else f"gives {found:g}"
        raise DriverError(f"{o.device}: asked for a {what} of {wanted}, the camera {words}; change {name}, or drop it")
