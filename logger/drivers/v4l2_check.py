"""Whether an open V4L2 camera is fit for a run, in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from logger.drivers.frame_stamps import S_NS, Gaps
from logger.drivers.interface import Finding, Health
from logger.drivers.v4l2_ioctl import Facts
from logger.drivers.v4l2_settings import V4l2Options
from logger.drivers.v4l2_stream import GoneError, Stream
from logger.recording import jpeg

LOOK_NS, AT_MOST_NS = S_NS, 1_700_000_000
"""Pictures of so long are looked at · but the first one may take its time."""
RATE_WELL_RATIO, RATE_DOUBTFUL_RATIO = 0.02, 0.2


@dataclass(frozen=True, slots=True)
class Sample:
    """Pictures of about a second."""

    stamps_ns: tuple[int, ...]
    """As the kernel stamped them."""
    ages_ns: tuple[int, ...]
    """How old each was when it was taken out of the queue."""
    torn_count: int
    trouble: str = ""

    @property
    def missing_count(self) -> int:
        """Pictures that are missing between the others."""
        if len(self.stamps_ns) < 3:
            return 0
        gaps = Gaps(round(median(b - a for a, b in pairwise(self.stamps_ns))))
        return sum(gaps.missing_count(stamp_ns) for stamp_ns in self.stamps_ns)

    @property
    def rate_hz(self) -> float:
        """Pictures a second, by their stamps; 0 if there are too few or the stamps stand still."""
        span_ns = self.stamps_ns[-1] - self.stamps_ns[0] if len(self.stamps_ns) > 2 else 0
        return (len(self.stamps_ns) - 1 + self.missing_count) * S_NS / span_ns if span_ns > 0 else 0.0


def findings(stream: Stream, options: V4l2Options, *, name: str, clock: Callable[[], int]) -> list[Finding]:
    """Look at the camera for about a second."""
    sample = _sample(stream, options, clock)
    return [
        Finding(f"{name}: settings", "well", _settings(stream, options)),
        *_granted_rate(stream, options, name),
        _exposure(stream, options, name),
        *_pictures(sample, stream, name),
        *_stamps(sample, stream.facts, options, name),
    ]


def _sample(stream: Stream, options: V4l2Options, clock: Callable[[], int]) -> Sample:
    stamps_ns: list[int] = []
    ages_ns: list[int] = []
    torn_count = 0
    trouble = ""
    begun_ns = clock()
    first_ns: int | None = None
    try:
        stream.drain()
        while (now_ns := clock()) - begun_ns < AT_MOST_NS and (first_ns is None or now_ns - first_ns < LOOK_NS):
            packet = stream.take()
            if packet is None:
                continue
            first_ns = now_ns if first_ns is None else first_ns
            stamps_ns.append(packet.stamp_ns)
            ages_ns.append(clock() - packet.stamp_ns)
            image = jpeg.decode(packet.data, grey=True)
            torn_count += image is None or image.shape != (options.height_px, options.width_px)
    except GoneError as gone:
        trouble = str(gone)
    return Sample(tuple(stamps_ns), tuple(ages_ns), torn_count, trouble)


def _settings(stream: Stream, o: V4l2Options) -> str:
    card = stream.facts.card or o.device
    return f"{card}: {o.width_px} x {o.height_px} {o.fourcc}, {stream.granted.rate_hz:g} a second, as asked"


def _granted_rate(stream: Stream, o: V4l2Options, name: str) -> Iterator[Finding]:
    granted = stream.granted
    if not granted.is_rate_told:
        yield Finding(
            f"{name}: rate asked", "doubtful", "the camera does not say how many pictures a second it takes",
            "see below how many came",
        )  # fmt: skip
    elif abs(granted.rate_hz / o.rate_hz - 1) > 0.001:
        yield Finding(
            f"{name}: rate asked", "doubtful", f"{o.rate_hz:g} a second asked, {granted.rate_hz:g} granted",
            f"write rate_hz = {granted.rate_hz:g} in rig.toml if that will do",
        )  # fmt: skip


def _exposure(stream: Stream, o: V4l2Options, name: str) -> Finding:
    part = f"{name}: exposure"
    if o.exposure_us is None:
        return Finding(
            part, "doubtful", "the camera chooses it and may change it during a run",
            "fix it with exposure_us in rig.toml, bright enough and at most a fifth of the time of one picture",
        )  # fmt: skip
    fixed_us = stream.granted.exposure_ns / 1000
    gain = "" if o.gain is None else f", gain {o.gain}"
    return Finding(part, "well", f"fixed at {fixed_us:g} µs{gain}")


def _pictures(sample: Sample, stream: Stream, name: str) -> Iterator[Finding]:
    part, count = f"{name}: pictures", len(sample.stamps_ns)
    port = "give the camera a port of its own, without a hub, and a short cable; or ask for smaller pictures"
    if sample.trouble or not count:
        yield Finding(part, "wrong", sample.trouble or f"none came within {AT_MOST_NS / S_NS:g} s", port)
        return
    if sample.torn_count:
        yield Finding(part, "wrong", f"{sample.torn_count} of {count} came torn or of another size", port)
    elif sample.missing_count:
        yield Finding(part, "doubtful", f"{count} whole ones, {sample.missing_count} missing between them", port)
    else:
        yield Finding(part, "well", f"{count} whole ones, none missing between them")
    off = sample.rate_hz / stream.granted.rate_hz - 1
    if sample.rate_hz:
        health: Health = (
            "well" if abs(off) <= RATE_WELL_RATIO else "doubtful" if abs(off) <= RATE_DOUBTFUL_RATIO else "wrong"
        )
        found = f"{sample.rate_hz:.2f} pictures a second by their stamps, {stream.granted.rate_hz:g} promised"
        yield Finding(
            f"{name}: rate", health, found, "" if health == "well" else "fix the exposure, and give more light"
        )  # fmt: skip


def _stamps(sample: Sample, facts: Facts, o: V4l2Options, name: str) -> Iterator[Finding]:
    part = f"{name}: stamps"
    if o.stamps == "arrival":
        yield Finding(
            part, "doubtful", "by arrival, as rig.toml says: known to about a period only",
            "take stamps away in rig.toml, and see whether the kernel's can be used",
        )  # fmt: skip
        return
    if not sample.stamps_ns:
        return
    youngest_ns, oldest_ns = min(sample.ages_ns), max(sample.ages_ns)
    cure = "use a camera whose driver stamps by the monotonic clock; until then times come from the gates"
    if youngest_ns < 0 or oldest_ns > S_NS:
        yield Finding(part, "wrong", f"of another clock: pictures were {oldest_ns / S_NS:.3f} s old", cure)
    elif any(later <= earlier for earlier, later in pairwise(sample.stamps_ns)):
        yield Finding(part, "wrong", "a stamp was not after the one before", cure)
    else:
        says = {"monotonic": "the driver says so too", "copied": "they come from the program that feeds the device"}
        words = says.get(facts.clock, "the driver does not say so, but they fit")
        found = (
            f"of this computer's clock ({words}); pictures were {youngest_ns / 1e6:.0f} to {oldest_ns / 1e6:.0f} ms old"
        )
        moment = {"start": ", stamped at their start", "end": ", stamped at their end"}.get(facts.moment, "")
        yield Finding(part, "well", found + moment)
