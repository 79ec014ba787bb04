"""The camera's delay from a light in its picture that is switched at known moments.

Stamps of a camera are late by an unknown time: they may mark the end of a picture, or its arrival. A light is switched
at random moments of the clock that the gates use, and every picture tells whether it was on, off, or under way.
Switching at random is what makes a delay longer than one picture unambiguous, and what spreads the switches over the
whole time between two pictures.

What is found is the delay as `rig.toml` means it: subtracted from `t_ns + row·line_ns + exposure_ns/2` it gives the
true mid-exposure, *with the exposure and line time that the pictures were said to have*. Where they say no exposure
(0), half the exposure is part of the delay, which then holds for that exposure only.

Doubts, each named in the result (JCGM 100:2008): the readings' own (type A, 4.2, one reading a switch); the moment of a
switch anywhere between before and after, the same way each time (type B, 4.3.7); the light's row times the line time
(4.3.7); exposure and response as far as they are not known; and, where the delay differs between parts of the session
more than it should, the scatter between the parts (4.2.2: of one part, not of their mean, as a later run may meet any).
They are independent of each other and are summed in squares (5.1.2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from calibration.errors import CalibrationError
from calibration.light_fit import JITTERS_S, STRAY_SHARE, Fitted, Near, Shape, WidthPrior, fit, posterior, samples
from calibration.light_pattern import SEARCHED_S, Floats, Levels, Pattern, Switches, levels, searched_s
from calibration.quantity import Quantity, Source

FEWEST_SWITCHES = 24
_FREE_COUNT = 4  # delay, jitter, width, bend
_APART_S = 0.12  # nearer delays explain nearly the same pictures
_LEAST_CORRELATION = 0.6
_MOST_ALIKE = 0.85  # correlation of another delay over that of the best
_LEAST_STEP_RATIO = 4.0  # light's step over the noise of one picture
_CLIPPED_SHARE = 0.5
_WIDTH_KNOWN_TO = 0.05  # an exposure control keeps what it says to about 5 % (common practice, no source) ...
_WIDTH_STEP_S = 1e-4  # ... and counts in steps of 0.1 ms (V4L2_CID_EXPOSURE_ABSOLUTE, Linux media uAPI)
_PARTS = 4
_COARSE_S = 2e-3
_LEAST_SCATTER_S = 5e-5  # stamps may be made even by a driver and still be off
_MOST_JITTER_SHARE = 0.95  # of the greatest that is tried
_STRAY_DOUBT, _STRAY_REFUSED = 0.05, 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Glimpses:
    """What N pictures showed of the light; arrays (N,), in order of time."""

    t_ns: NDArray[np.int64]
    """The camera's stamp: as it claims, the start of exposure of the first row."""
    exposure_ns: NDArray[np.int64]
    """As the camera says; 0: it does not say."""
    line_ns: NDArray[np.int64]
    """As the camera says; 0: a global shutter, or it does not say."""
    brightness: Floats
    """Of the light's place in the picture, in any unit that grows with light."""
    clipped: NDArray[np.bool_]
    """True where the picture could not have been brighter there."""
    row_px: float
    """Where the light is, pixel row."""
    u_row_px: float = 0.3
    """A row read to ± half a pixel: 0.5/√3."""

    def claimed_ns(self) -> NDArray[np.int64]:
        """(N,) mid-exposure of the light's row as claimed."""
        return self.t_ns + np.rint(self.row_px * self.line_ns + self.exposure_ns / 2).astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """What the pictures near a switch showed and what was expected of them, for looking at; arrays (N,)."""

    since_s: Floats
    """True mid-exposure less the switch, with the delay found."""
    switched_on: NDArray[np.bool_]
    """Which way the light was switched."""
    lit: Floats
    """0: as dark as without the light; 1: as bright as with it."""
    expected: Floats
    """Of `lit`, by the fit."""
    u_expected: Floats
    """Standard deviation of one picture about it, its stamp's own scatter included."""

    @property
    def residual(self) -> Floats:
        """(N,) normalised: seen less expected over the standard deviation."""
        return np.asarray((self.lit - self.expected) / self.u_expected, np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class LightSync:
    """The delay of a camera, and how well it is known."""

    delay: Quantity
    """s; how much later than the truth the times of rows are, with exposure and line time as the camera says them."""
    exposure: Quantity
    """s; as the light shows it."""
    claimed_exposure_s: float
    """As the camera says it, the middle one; 0: it does not say."""
    jitter_s: float
    """Standard deviation of one stamp."""
    bend: float
    """How far the camera's response is from straight; 0: straight, 1: about a display gamma of 2.2."""
    switches_count: int
    under_way_count: int
    """Pictures that caught a switch under way."""
    chi_square: float
    """Reduced, of the pictures near a switch, strays left out; about 1."""
    stray_share: float
    """Part of the pictures near a switch that do not fit at all."""
    fit: Fit
    doubts: tuple[str, ...] = ()
    """What a person should know, one sentence each."""


def measure_delay(switches: Switches, seen: Glimpses, *, place: str = "light") -> LightSync:
    """The delay of the camera that saw the light.

    Args:
        switches: when it was switched; before the first it was the other way.
        seen: what the pictures showed.
        place: what to call the session in an error.

    Raises:
        CalibrationError: nothing can be said, and why: too few switches, no picture that follows them, a light too
            bright or too weak, switches that repeat themselves, a delay beyond SEARCHED_S.
    """
    turns = switches.turns()
    pattern = Pattern(turns, seen.claimed_ns())
    _check_input(turns, seen, pattern, place)
    rough = _rough(pattern, seen, place)
    light = _levels(pattern, seen, rough, place)
    _check_count(pattern, rough, place)
    near, who = _near(pattern, seen, light, rough)
    found = fit(near, about_s=rough, reach_s=min(0.04, pattern.period_s), prior=_prior(seen, pattern))
    shown, is_stray = _expected(near, found)
    _check_fit(found, is_stray, place)
    kept = ~is_stray
    chi_square = float(shown.residual[kept] @ shown.residual[kept]) / max(int(kept.sum()) - _FREE_COUNT, 1)
    wander, words = _wander(near, who, found, pattern, kept)
    doubts = [*words, *_doubts(seen, found, chi_square, is_stray)]
    return LightSync(
        delay=_delay(found, turns, seen, wander, max(1.0, chi_square)),
        exposure=_exposure(found, near, seen),
        claimed_exposure_s=_middle(seen.exposure_ns) / 1e9,
        jitter_s=found.jitter_s,
        bend=found.bend,
        switches_count=len(turns.on),
        under_way_count=int(np.count_nonzero((near.lit > 0.05) & (near.lit < 0.95))),
        chi_square=chi_square,
        stray_share=float(is_stray.mean()),
        fit=shown,
        doubts=tuple(doubts),
    )


def _middle(values: NDArray[np.int64]) -> float:
    return float(np.median(values)) if len(values) else 0.0


def _check_input(turns: Switches, seen: Glimpses, pattern: Pattern, place: str) -> None:
    mistakes = []
    if len(seen.t_ns) < 2 * FEWEST_SWITCHES:
        mistakes.append(f"found {len(seen.t_ns)} pictures; at least {2 * FEWEST_SWITCHES} are wanted; blink for longer")
    elif np.any(np.diff(seen.t_ns) <= 0) or not np.all(np.isfinite(seen.brightness)):
        mistakes.append("stamps of pictures go back, or a brightness is no number; each picture needs a later stamp")
    if len(turns.on) < FEWEST_SWITCHES:
        missing = FEWEST_SWITCHES - len(turns.on)
        mistakes.append(
            f"found {len(turns.on)} switches; at least {FEWEST_SWITCHES} are wanted; {missing} more: blink for longer"
        )
    elif np.any(turns.after_ns < turns.before_ns) or np.any(turns.before_ns[1:] < turns.after_ns[:-1]):
        mistakes.append("the moments of the switches overlap; each switch has to be over before the next one begins")
    if mistakes:
        raise CalibrationError(place, mistakes)


def _rough(pattern: Pattern, seen: Glimpses, place: str) -> float:
    """The delay to a few ms, from which of them explains the brightnesses best."""
    step = min(2e-3, pattern.period_s / 8)
    delays = searched_s(step)
    width = np.maximum(seen.exposure_ns / 1e9, step)
    correlation = pattern.correlation(seen.brightness[:, None], width_s=width, delays_s=delays)[0][:, 0]
    best = int(np.argmax(correlation))
    reached = float(correlation[best])
    if -float(correlation.min()) > max(reached, _LEAST_CORRELATION):
        fault = "it is dark when it should be on; turn its polarity round in the light's driver (such as lit_is)"
        raise CalibrationError(place, [fault])
    if reached < _LEAST_CORRELATION:
        fault = (
            f"no brightness follows the switches (best correlation {reached:.2f}, wanted {_LEAST_CORRELATION}); "
            "is the light in the picture, is it the one that is switched, is the room quiet?"
        )
        raise CalibrationError(place, [fault])
    if best in {0, len(delays) - 1}:
        fault = f"the delay lies beyond {SEARCHED_S[0]} ... {SEARCHED_S[1]} s; are both stamps of the one clock?"
        raise CalibrationError(place, [fault])
    _check_unambiguous(delays, correlation, len(seen.t_ns), place)
    return float(delays[best])


def _check_unambiguous(delays: Floats, correlation: Floats, pictures: int, place: str) -> None:
    """No other delay may explain the pictures about as well: 10 nats are e^10 : 1."""
    best = int(np.argmax(correlation))
    apart = np.abs(delays - delays[best]) > _APART_S
    other = int(np.argmax(np.where(apart, correlation, -1.0)))
    left = max(1 - float(correlation[best]) ** 2, 1e-6), 1 - max(float(correlation[other]), 0.0) ** 2
    likely = pictures / 2 * math.log(left[1] / left[0])
    if likely < 10 or correlation[other] > _MOST_ALIKE * correlation[best]:
        fault = (
            f"delays of {delays[best]:.3f} s and {delays[other]:.3f} s explain the pictures alike: the blinks repeat "
            "themselves; wait for a different, random time before each switch"
        )
        raise CalibrationError(place, [fault])


def _levels(pattern: Pattern, seen: Glimpses, rough_s: float, place: str) -> Levels:
    """Brightness without and with the light; refused where the step is too small or cut off."""
    middle = pattern.claimed_s - rough_s
    margin = max(_middle(seen.exposure_ns) / 2e9, pattern.period_s / 4) + min(0.03, pattern.period_s)
    away = np.abs(middle - pattern.switch_s[pattern.nearest(middle)]) > min(margin, 0.07)
    lit = pattern.lit(middle, 1e-6) > 0.5
    clipped = float(seen.clipped[away & lit].mean()) if np.any(away & lit) else 0.0
    if clipped > _CLIPPED_SHARE:
        fault = (
            f"while it is on, the light is too bright in {100 * clipped:.0f} % of the pictures (cut off at the top); "
            "dim it: a larger resistor, paper over it, or a shorter exposure"
        )
        raise CalibrationError(place, [fault])
    found = levels(pattern.claimed_s, seen.brightness, lit=lit, use=away)
    noise = max(found.noise)
    if not found.step > 0 or found.step < _LEAST_STEP_RATIO * noise * found.step:
        fault = (
            f"the light makes a step of {found.step:.2g} with a noise of {noise * abs(found.step):.2g}; "
            f"{_LEAST_STEP_RATIO:g} times the noise is wanted; bring it nearer, make it brighter or the room calmer"
        )
        raise CalibrationError(place, [fault])
    return found


def _check_count(pattern: Pattern, rough_s: float, place: str) -> None:
    """Enough switches must have a picture shortly before and after them."""
    middle = pattern.claimed_s - rough_s
    after = np.searchsorted(middle, pattern.switch_s)
    inside = (after > 0) & (after < len(middle))
    gap = middle[np.clip(after, 1, len(middle) - 1)] - middle[np.clip(after, 1, len(middle) - 1) - 1]
    count = int(np.count_nonzero(inside & (gap < 3.5 * pattern.period_s)))
    if count < FEWEST_SWITCHES:
        missing = FEWEST_SWITCHES - count
        fault = (
            f"only {count} of {len(pattern.switch_s)} switches were seen from both sides (pictures were dropped); "
            f"{FEWEST_SWITCHES} are wanted; {missing} more: blink for longer"
        )
        raise CalibrationError(place, [fault])


def _near(pattern: Pattern, seen: Glimpses, light: Levels, rough_s: float) -> tuple[Near, NDArray[np.intp]]:
    """The pictures near a switch, and which of the session's they are."""
    middle = pattern.claimed_s - rough_s
    nearest = pattern.nearest(middle)
    since = pattern.claimed_s - pattern.switch_s[nearest]
    typical = _middle(seen.exposure_ns)
    ratio = seen.exposure_ns / typical if typical > 0 and np.all(seen.exposure_ns > 0) else np.ones(len(since))
    who = np.flatnonzero(np.abs(since - rough_s) < 0.06 + pattern.period_s)
    direction = np.where(pattern.on[nearest], 1.0, -1.0)
    scatter = max(pattern.scatter_s, _LEAST_SCATTER_S)
    return Near(since[who], direction[who], light.lit[who], light.noise, ratio[who], scatter), who


def _prior(seen: Glimpses, pattern: Pattern) -> WidthPrior:
    claimed = _middle(seen.exposure_ns) / 1e9
    most = max(1.2 * pattern.period_s, 1.2 * claimed)
    if claimed > 0:
        return WidthPrior(claimed, math.hypot(_WIDTH_KNOWN_TO, _WIDTH_STEP_S / claimed), claimed / 8, most)
    return WidthPrior(pattern.period_s / 4, math.inf, 1e-4, most)


def _expected(near: Near, found: Fitted) -> tuple[Fit, NDArray[np.bool_]]:
    """What the fit expects of each picture, with its scatter, and which pictures are strays."""
    since = near.since_s - found.delay_s
    shape = Shape(found.width_s, found.bend)
    shown, weight = samples(since, near.direction, shape, found.jitter_s, width_ratio=near.width_ratio)
    expected = shown @ weight
    off, on = near.noise
    noise = off + (on - off) * expected
    spread = np.sqrt(np.maximum((shown - expected[:, None]) ** 2 @ weight, 0) + noise**2)
    far = np.abs(near.lit - expected) / spread > 6
    seen_so = np.exp(-0.5 * ((near.lit[:, None] - shown) / noise[:, None]) ** 2) @ weight
    impossible = (1 - STRAY_SHARE) * seen_so / (noise * math.sqrt(2 * math.pi)) < STRAY_SHARE / 1.5
    return Fit(since, near.direction > 0, near.lit, expected, spread), far | impossible


def _check_fit(found: Fitted, is_stray: NDArray[np.bool_], place: str) -> None:
    if found.jitter_s > _MOST_JITTER_SHARE * float(JITTERS_S[-1]):
        fault = (
            f"the stamps of the pictures scatter by {1e3 * JITTERS_S[-1]:.0f} ms or more, or jump; such stamps time "
            "nothing; does the driver stamp pictures when they are taken, or when it gets round to them?"
        )
        raise CalibrationError(place, [fault])
    share = float(is_stray.mean()) if len(is_stray) else 1.0
    if share > _STRAY_REFUSED:
        fault = (
            f"{100 * share:.0f} % of the pictures near a switch do not fit any one delay; is somebody in the way, does "
            "the camera set its exposure by itself, are pictures shown twice?"
        )
        raise CalibrationError(place, [fault])


def _wander(
    near: Near, who: NDArray[np.intp], found: Fitted, pattern: Pattern, kept: NDArray[np.bool_]
) -> tuple[float, list[str]]:
    """Standard deviation of the delay between parts of the session, where chance does not explain it; s, words."""
    parts = np.minimum(who * _PARTS // len(pattern.claimed_s), _PARTS - 1)
    shape = Shape(found.width_s, found.bend)
    delays, doubts = [], []
    for part in range(_PARTS):
        mine = (parts == part) & kept
        each = posterior(near.only(mine), shape, about_s=found.delay_s, reach_s=min(0.04, pattern.period_s))
        delays.append(each.delay_s)
        doubts.append(each.u_s)
    d, u = np.array(delays), np.array(doubts)
    mean = float(np.average(d, weights=1 / u**2))
    chi_square = float(np.sum(((d - mean) / u) ** 2))
    if float(chdtrc(_PARTS - 1, chi_square)) > 1e-3:
        return 0.0, []
    scatter = math.sqrt(max(float(np.var(d, ddof=1)) - float(np.mean(u**2)), 0.0))
    told = ", ".join(f"{1e3 * each:.2f}" for each in delays)
    return scatter, [f"the delay changed during the session ({told} ms in its four parts): the camera's stamps wander"]


def _delay(found: Fitted, turns: Switches, seen: Glimpses, wander_s: float, widened: float) -> Quantity:
    """The delay with its contributions by name."""
    half_s = float(np.median(turns.after_ns - turns.before_ns)) / 2e9
    return Quantity(
        found.delay_s,
        "s",
        {
            Source("blinks seen by the camera", float(len(turns.on) - _FREE_COUNT)): math.sqrt(widened)
            * found.u_blinks_s,
            Source("exposure"): found.u_through_width_s,
            Source("response of the camera"): found.u_through_bend_s,
            Source("moment of a switch"): half_s / math.sqrt(3),
            Source("row of the light"): seen.u_row_px * _middle(seen.line_ns) / 1e9,
            Source("wandering of the stamps", float(_PARTS - 1)): wander_s,
        },
    )


def _exposure(found: Fitted, near: Near, seen: Glimpses) -> Quantity:
    return Quantity.of(found.width_s, "s", u=found.u_width_s, source="exposure seen by the light")


def _doubts(seen: Glimpses, found: Fitted, chi_square: float, is_stray: NDArray[np.bool_]) -> list[str]:
    words = []
    claimed = _middle(seen.exposure_ns) / 1e9
    if claimed > 0 and abs(found.width_s - claimed) > max(3 * found.u_width_s, 0.1 * claimed, 2e-4):
        words.append(
            f"the camera says {1e3 * claimed:.2f} ms exposure, the light shows {1e3 * found.width_s:.2f} ms; "
            "the delay makes up for it as long as both stay as they are"
        )
    if claimed == 0:
        words.append(
            f"the camera does not say its exposure; the light shows {1e3 * found.width_s:.2f} ms; "
            "the delay holds for this exposure only: lock it"
        )
    if _middle(seen.line_ns) == 0:
        words.append(
            "no line time is known; if the shutter rolls, the delay holds at the light's row "
            f"({seen.row_px:.0f}) and is off elsewhere"
        )
    if found.u_blinks_s > _COARSE_S:
        words.append(
            f"the delay is only known to about {1e3 * found.u_blinks_s:.1f} ms: no picture caught a switch at the "
            "right moment; blink for longer, or with a longer exposure"
        )
    if chi_square > 2:
        words.append(
            f"the pictures scatter {math.sqrt(chi_square):.1f} times as much as expected; u is widened by that"
        )
    if float(is_stray.mean()) > _STRAY_DOUBT:
        words.append(f"{100 * float(is_stray.mean()):.0f} % of the pictures near a switch do not fit and were left out")
    return words
