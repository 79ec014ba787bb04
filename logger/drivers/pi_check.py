"""Whether a camera at the Pi's connector is fit for a run, in plain words, from what libcamera says of its pictures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from logger.drivers.frame_stamps import S_NS, Gaps
from logger.drivers.interface import Finding, Health
from logger.drivers.pi_settings import PiCameraOptions

RATE_WELL_RATIO, RATE_DOUBTFUL_RATIO = 0.02, 0.2
EXPOSURE_WELL_RATIO, GAIN_WELL_RATIO = 0.02, 0.05
CLOCKS_ALIKE_NS = 1_000_000


def findings(
    asked: PiCameraOptions,
    *,
    name: str,
    line_ns: int,
    said: Sequence[Mapping[str, Any]],
    span_ns: tuple[int, int],
    asleep_ns: int,
) -> list[Finding]:
    """What a second of pictures came to.

    Args:
        asked: the driver's options.
        name: of the driver.
        line_ns: time of a row; 0: not known.
        said: libcamera's words on each picture, in order.
        span_ns: when the looking began and ended, of the one clock.
        asleep_ns: how long the computer has slept.
    """
    size = f"{asked.width_px} x {asked.height_px}, {asked.rate_hz:g} a second, as asked"
    found = [Finding(f"{name}: settings", "well", size), _line(line_ns, asked, name)]
    if not said:
        cure = "switch off, and look at the ribbon cable at both ends"
        return [*found, Finding(f"{name}: pictures", "wrong", "none came within a second", cure)]
    stamps_ns = [int(one["SensorTimestamp"]) for one in said]
    return [
        *found,
        _exposure(asked, said, name),
        *_rate(asked, stamps_ns, name),
        _clock(stamps_ns, span_ns, asleep_ns, name),
    ]


def _line(line_ns: int, asked: PiCameraOptions, name: str) -> Finding:
    part = f"{name}: rows"
    if not line_ns:
        cure = "measure it or look it up, and write line_ns in rig.toml (0 for a global shutter)"
        return Finding(part, "doubtful", "the sensor does not tell how long a row takes", cure)
    if line_ns * asked.height_px > asked.period_ns:
        cure = "correct line_ns in rig.toml"
        return Finding(part, "wrong", f"{line_ns} ns for each row are longer than a picture lasts", cure)
    return Finding(part, "well", f"{line_ns / 1000:.2f} µs each")


def _exposure(asked: PiCameraOptions, said: Sequence[Mapping[str, Any]], name: str) -> Finding:
    part = f"{name}: exposure"
    last_us, gain = said[-1].get("ExposureTime"), said[-1].get("AnalogueGain")
    if asked.exposure_us is None:
        cure = "fix it with exposure_us and gain in rig.toml, at most a fifth of the time of one picture"
        return Finding(part, "doubtful", f"the camera chooses it; now {last_us} µs", cure)
    is_off = last_us is None or abs(last_us / asked.exposure_us - 1) > EXPOSURE_WELL_RATIO
    wanted = asked.gain or 1.0
    is_off |= gain is None or abs(gain / wanted - 1) > GAIN_WELL_RATIO
    found = f"{last_us} µs at gain {gain or 0:.2f}"
    if is_off:
        asked_words = f"; asked were {asked.exposure_us} µs at gain {wanted:g}"
        return Finding(part, "wrong", found + asked_words, "ask for what the sensor can do")
    return Finding(part, "well", f"fixed at {found}")


def _rate(asked: PiCameraOptions, stamps_ns: Sequence[int], name: str) -> Iterator[Finding]:
    gaps = Gaps(asked.period_ns)
    missing = sum(gaps.missing_count(stamp_ns) for stamp_ns in stamps_ns)
    part = f"{name}: pictures"
    if missing:
        cure = "let this computer do less at the same time, or ask for fewer or smaller pictures"
        yield Finding(part, "doubtful", f"{len(stamps_ns)} came, {missing} missing between them", cure)
    else:
        yield Finding(part, "well", f"{len(stamps_ns)} came, none missing between them")
    span_ns = stamps_ns[-1] - stamps_ns[0]
    if len(stamps_ns) < 3 or span_ns <= 0:
        return
    rate_hz = (len(stamps_ns) - 1 + missing) * S_NS / span_ns
    off = abs(rate_hz / asked.rate_hz - 1)
    health: Health = "well" if off <= RATE_WELL_RATIO else "doubtful" if off <= RATE_DOUBTFUL_RATIO else "wrong"
    cure = "" if health == "well" else "ask for a rate that this size can have, and expose shorter"
    yield Finding(f"{name}: rate", health, f"{rate_hz:.2f} pictures a second, {asked.rate_hz:g} asked", cure)


def _clock(stamps_ns: Sequence[int], span_ns: tuple[int, int], asleep_ns: int, name: str) -> Finding:
    part = f"{name}: stamps"
    cure = "let the gates time what matters, and report this camera"
    if any(later <= earlier for earlier, later in pairwise(stamps_ns)):
        return Finding(part, "wrong", "a stamp was not after the one before", cure)
    begun_ns, ended_ns = span_ns
    if begun_ns - S_NS <= stamps_ns[0] and stamps_ns[-1] <= ended_ns:
        return Finding(part, "well", "of this computer's clock")
    if asleep_ns > CLOCKS_ALIKE_NS and begun_ns - S_NS <= stamps_ns[0] - asleep_ns <= ended_ns:
        found = f"they count the {asleep_ns / S_NS:.3f} s that the computer has slept; this will be taken off"
        return Finding(part, "doubtful", found, "restart the computer, and do not let it sleep")
    return Finding(part, "wrong", f"of another clock ({(stamps_ns[-1] - ended_ns) / S_NS:+.3f} s from this one)", cure)
