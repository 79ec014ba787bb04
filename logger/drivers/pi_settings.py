"""What is asked of a camera at the Pi's connector."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from logger.drivers.frame_stamps import S_NS
from logger.settings import Range

MANUAL_FOCUS = 0
"""libcamera's AfModeManual."""


@dataclass(frozen=True, slots=True)
class PiCameraOptions:
    """What rig.toml says of a camera at the Pi's connector."""

    camera_index: Annotated[int, Range(least=0, most=7)] = 0
    """Which one, as libcamera counts them."""
    width_px: Annotated[int, Range(least=16, most=16384)] = 1280
    height_px: Annotated[int, Range(least=16, most=16384)] = 720
    rate_hz: Annotated[float, Range(above=0, most=1000)] = 30.0
    """Pictures a second."""
    exposure_us: Annotated[int, Range(least=1, most=1_000_000)] | None = None
    """Fixed exposure; without it the camera chooses, and says with each picture what it was."""
    gain: Annotated[float, Range(least=1, most=64)] | None = None
    """Fixed analogue gain, of dimension one; goes together with exposure_us."""
    colour_gains: tuple[float, float] | None = None
    """Fixed gains of red and blue, of dimension one."""
    focus_per_m: Annotated[float, Range(least=0, most=32)] | None = None
    """Fixed focus as one over the distance in metres, for a camera that can."""
    line_ns: Annotated[int, Range(least=0, most=1_000_000)] | None = None
    """From one row's exposure to the next row's; without it the sensor is asked."""
    jpeg_quality_percent: Annotated[int, Range(least=50, most=100)] = 90

    @property
    def period_ns(self) -> int:
        """From one picture to the next."""
        return round(S_NS / self.rate_hz)

    def controls(self) -> dict[str, object]:
        """As libcamera wants it."""
        period_us = round(1e6 / self.rate_hz)
        asked: dict[str, object] = {"FrameDurationLimits": (period_us, period_us)}
        if self.exposure_us is not None:
            asked |= {"AeEnable": False, "ExposureTime": self.exposure_us, "AnalogueGain": self.gain or 1.0}
        if self.colour_gains is not None:
            asked |= {"AwbEnable": False, "ColourGains": self.colour_gains}
        if self.focus_per_m is not None:
            asked |= {"AfMode": MANUAL_FOCUS, "LensPosition": self.focus_per_m}
        return asked

    def complaint(self) -> str:
        """What cannot be meant so; empty if all is well."""
        if self.gain is not None and self.exposure_us is None:
            return "found gain without exposure_us; wanted both or neither; fix both"
        most_us = self.period_ns // 1000
        if self.exposure_us is not None and self.exposure_us > most_us:
            return (
                f"exposure_us: found {self.exposure_us}, wanted at most {most_us}, the time of one picture; "
                "expose shorter, or ask for fewer pictures a second"
            )
        return ""
