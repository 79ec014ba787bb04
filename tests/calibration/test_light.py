from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal, stats

from calibration.errors import CalibrationError
from calibration.light import FEWEST_SWITCHES, LightSync, measure_delay
from calibration.light_pattern import Switches
from tests.calibration.light_session import Session, any_session, play


def measured(session: Session) -> LightSync:
    return measure_delay(*play(session))


@pytest.fixture(scope="module")
def plain() -> LightSync:
    """30 pictures a second, 10 ms exposure, 80 ms late."""
    return measured(Session())


# --- by eye ---


def test_the_delay_of_a_plain_session_is_found_to_a_fraction_of_a_picture(plain: LightSync) -> None:
    assert plain.delay.unit == "s"
    assert plain.delay.value == pytest.approx(0.080, abs=2e-4)
    assert 2e-5 < plain.delay.U < 2e-4
    assert plain.exposure.value == pytest.approx(0.010, abs=plain.exposure.U)
    assert plain.jitter_s < 1e-4
    assert plain.doubts == ()


def test_each_cause_of_doubt_has_its_name(plain: LightSync) -> None:
    u = {source.name: c for source, c in plain.delay.contributions.items()}
    assert set(u) == {
        "blinks seen by the camera", "exposure", "response of the camera", "moment of a switch", "row of the light",
    }  # fmt: skip
    # JCGM 100:2008, 4.3.7: anywhere within 20 µs is ± 10 µs/√3; a row within ± half a pixel of 20 µs a row
    assert u["moment of a switch"] == pytest.approx(10e-6 / math.sqrt(3), rel=0.01)
    assert u["row of the light"] == pytest.approx(0.3 * 20e-6, rel=0.01)
    assert plain.delay.u == pytest.approx(math.sqrt(sum(c * c for c in u.values())))
    assert plain.delay.dof >= plain.switches_count - 4


def test_where_the_camera_does_not_say_its_exposure_half_of_it_is_part_of_the_delay() -> None:
    found = measured(Session(says_exposure=False))
    assert found.delay.value == pytest.approx(0.075, abs=3e-4)
    assert found.exposure.value == pytest.approx(0.010, abs=5e-4)
    assert "does not say its exposure" in " ".join(found.doubts)


def test_an_exposure_that_is_said_wrongly_is_seen_and_made_up_for() -> None:
    switches, seen = play(Session())
    found = measure_delay(switches, replace(seen, exposure_ns=seen.exposure_ns * 2))
    assert found.exposure.value == pytest.approx(0.010, abs=5e-4)
    assert found.delay.value == pytest.approx(0.085, abs=2e-4)
    assert "says 20.00 ms exposure" in found.doubts[0]


def test_stamps_that_scatter_are_told_and_cost_certainty(plain: LightSync) -> None:
    found = measured(Session(jitter_s=2e-3))
    assert found.jitter_s == pytest.approx(2e-3, rel=0.5)
    assert found.delay.u > 5 * plain.delay.u


def test_stamps_that_scatter_are_told_where_few_pictures_caught_a_switch() -> None:
    found = measured(Session(seed=12, jitter_s=1.2e-3, exposure_s=1e-3, rate_hz=15))
    assert found.under_way_count < 12
    assert found.jitter_s == pytest.approx(1.2e-3, rel=0.6)


def test_a_delay_that_jumps_during_the_session_is_told_and_widens_the_doubt() -> None:
    found = measured(Session(jump_s=5e-3))
    assert "stamps wander" in found.doubts[0]
    assert found.delay.u > 2e-3
    assert abs(found.delay.value - 0.080) < found.delay.U
    assert abs(found.delay.value - 0.085) < found.delay.U


def test_a_hand_before_the_light_is_left_out() -> None:
    switches, seen = play(Session())
    dark = seen.brightness.copy()
    dark[300:312] = dark.min()
    found = measure_delay(switches, replace(seen, brightness=dark))
    assert found.delay.value == pytest.approx(0.080, abs=2e-4)
    assert 0 < found.stray_share < 0.05


def test_what_a_person_should_know_is_said() -> None:
    switches, seen = play(Session(line_s=0.0, exposure_s=1e-3, rate_hz=10, every_s=1.3, length_s=60))
    words = " ".join(measure_delay(switches, seen).doubts)
    assert "no line time is known" in words
    assert "only known to about" in words


# --- what cannot be measured ---


REFUSED = {
    "few": (Session(length_s=5), r"found \d+ switches; at least 24 are wanted; 1\d more: blink for longer"),
    "periodic": (Session(every_s=0.25), "the blinks repeat themselves"),
    "too bright": (Session(brightest=150), "too bright in 100 % of the pictures"),
    "weak": (Session(noise=40), "4 times the noise is wanted"),
    "not there": (Session(noise=400), "no brightness follows the switches"),
}


@pytest.mark.parametrize(("session", "words"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_measured_is_refused_with_the_reason(session: Session, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        measured(session)


def test_a_light_that_is_switched_upside_down_is_named() -> None:
    switches, seen = play(Session())
    with pytest.raises(CalibrationError, match="turn its polarity round"):
        measure_delay(replace(switches, on=~switches.on), seen)


def test_a_delay_beyond_what_is_looked_for_is_not_guessed() -> None:
    with pytest.raises(CalibrationError, match=r"the delay lies beyond|no brightness follows"):
        measured(Session(delay_s=1.3))


def test_switches_that_fell_into_gaps_of_the_pictures_do_not_count() -> None:
    switches, seen = play(Session())
    kept = np.ones(len(seen.t_ns), bool)
    kept[200:650] = False
    thin = replace(
        seen, t_ns=seen.t_ns[kept], exposure_ns=seen.exposure_ns[kept], line_ns=seen.line_ns[kept],
        brightness=seen.brightness[kept], clipped=seen.clipped[kept],
    )  # fmt: skip
    with pytest.raises(CalibrationError, match=rf"were seen from both sides .*; {FEWEST_SWITCHES} are wanted"):
        measure_delay(switches, thin)


@pytest.mark.parametrize("session", [Session(jitter_s=0.06, exposure_s=0.002), Session(jump_s=0.033)])
def test_stamps_that_time_nothing_are_refused(session: Session) -> None:
    with pytest.raises(CalibrationError, match="scatter by 12 ms or more, or jump"):
        measured(session)


def test_pictures_that_show_anything_but_the_light_are_refused() -> None:
    switches, seen = play(Session())
    rng = np.random.default_rng(9)
    wrong = rng.random(len(seen.t_ns)) < 0.35
    mixed = np.where(wrong, rng.uniform(0, 40, len(wrong)), seen.brightness)
    with pytest.raises(CalibrationError, match=r"do not fit any one delay|times the noise is wanted|no brightness"):
        measure_delay(switches, replace(seen, brightness=mixed))


def test_broken_tables_are_refused() -> None:
    switches, seen = play(Session())
    with pytest.raises(CalibrationError, match="stamps of pictures go back"):
        measure_delay(switches, replace(seen, t_ns=seen.t_ns[::-1].copy()))
    late = Switches(switches.before_ns, switches.after_ns + 1_000_000_000, switches.on)
    with pytest.raises(CalibrationError, match="moments of the switches overlap"):
        measure_delay(late, seen)


# --- by law ---


@settings(max_examples=4)
@given(st.integers(-100_000_000, 400_000_000))
def test_a_constant_added_to_all_stamps_is_added_to_the_delay(more_ns: int) -> None:
    switches, seen = play(Session(seed=3, jitter_s=3e-4, noise=3))
    first = measure_delay(switches, seen)
    later = measure_delay(switches, replace(seen, t_ns=seen.t_ns + more_ns))
    assert later.delay.value - first.delay.value == pytest.approx(more_ns / 1e9, abs=0.15 * first.delay.u)
    assert later.delay.u == pytest.approx(first.delay.u, rel=0.1)


@settings(max_examples=4)
@given(st.integers(-300, 700))
def test_a_light_in_another_row_moves_the_delay_by_the_line_time(rows: int) -> None:
    switches, seen = play(Session(seed=4, noise=3))
    first = measure_delay(switches, seen)
    moved = measure_delay(switches, replace(seen, row_px=seen.row_px + rows))
    assert moved.delay.value - first.delay.value == pytest.approx(rows * 20e-6, abs=0.15 * first.delay.u)


@settings(max_examples=4)
@given(st.floats(0.01, 500), st.floats(-1e3, 1e3))
def test_the_unit_of_brightness_does_not_matter(factor: float, offset: float) -> None:
    switches, seen = play(Session(seed=5, noise=2))
    first = measure_delay(switches, seen)
    other = measure_delay(switches, replace(seen, brightness=factor * seen.brightness + offset))
    assert other.delay.value == pytest.approx(first.delay.value, abs=0.05 * first.delay.u)


# --- by the world ---


def test_a_cross_correlation_of_scipys_finds_the_same_delay() -> None:
    session = Session(seed=6, delay_s=0.2345, gamma=2.2, noise=2)
    switches, seen = play(session)
    found = measure_delay(switches, seen)
    step_s = 1e-3
    origin = int(seen.t_ns[0])
    grid = np.arange(0, session.length_s, step_s)
    state = np.searchsorted((switches.before_ns - origin) / 1e9, grid) % 2
    middle = (seen.t_ns - origin + seen.exposure_ns / 2 + seen.row_px * seen.line_ns) / 1e9
    shown = np.interp(grid, middle, seen.brightness)
    both = signal.correlate(shown - shown.mean(), state - state.mean(), mode="full")
    lag_s = signal.correlation_lags(len(grid), len(grid))[int(np.argmax(both))] * step_s
    assert lag_s == pytest.approx(found.delay.value, abs=5e-3)


def test_the_mean_of_single_switches_agrees_and_scatters_as_stated() -> None:
    """JCGM 100:2008, 4.2.2, 4.2.3: mean of n readings, s/√n; each picture that caught a switch is one reading."""
    session = Session(seed=7, rate_hz=40, exposure_s=0.02, noise=1, drift=0)
    switches, seen = play(session)
    found = measure_delay(switches, seen)
    off, on = np.quantile(seen.brightness, [0.2, 0.8])
    middle = seen.t_ns - switches.before_ns[0] + seen.exposure_ns / 2 + seen.row_px * seen.line_ns
    moments = (switches.before_ns + switches.after_ns) / 2 - switches.before_ns[0]
    readings = []
    for t, lit in zip(middle / 1e9, (seen.brightness - off) / (on - off), strict=True):
        nearest = int(np.argmin(np.abs(moments / 1e9 + found.delay.value - t)))
        if 0.1 < lit < 0.9:
            after = (0.5 - lit if switches.on[nearest] else lit - 0.5) * session.exposure_s
            readings.append(t - moments[nearest] / 1e9 + after)
    mean, u = float(np.mean(readings)), float(np.std(readings, ddof=1) / math.sqrt(len(readings)))
    assert len(readings) > 20
    assert mean == pytest.approx(found.delay.value, abs=3 * math.hypot(u, found.delay.u))
    assert 0.4 < found.delay.u / u < 2.5


# --- the truth ---


def test_the_stated_interval_holds_the_truth() -> None:
    """Of 30 intervals at 95 %, 24 or fewer hold the truth once in 300 times (binomial); so few is a wrong interval."""
    held, errors = 0, []
    for seed in range(30):
        session = any_session(seed)
        found = measured(session)
        error = found.delay.value - session.truth_s
        held += abs(error) <= found.delay.U
        errors.append(abs(error))
    assert stats.binom.cdf(24, 30, 0.95) < 1 / 300
    assert held > 24
    assert float(np.median(errors)) < 4e-4
    assert max(errors) < 4e-3


@pytest.mark.bench
def test_how_often_the_stated_interval_holds_the_truth(capsys: pytest.CaptureFixture[str]) -> None:
    rows = []
    for seed in range(10_000, 10_600):
        session = any_session(seed)
        found = measured(session)
        rows.append((found.delay.value - session.truth_s, found.delay.U, found.exposure.value - session.exposure_s))
    error, U, _ = np.array(rows).T
    with capsys.disabled():
        print(f"\n600 sessions: {100 * np.mean(np.abs(error) <= U):.1f} % of the intervals hold the truth")
        print(f"error median {1e3 * np.median(np.abs(error)):.3f} ms, worst {1e3 * np.abs(error).max():.2f} ms")
