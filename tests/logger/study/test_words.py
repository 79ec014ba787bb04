from __future__ import annotations

from typing import get_args

import pytest

from calibration.quantity import Quantity
from logger.config import Conditions, KindOfRun, Rules
from logger.results import columns
from logger.results.trial import EndReason, NotMeasured, Result, Status, Trial, Visit
from logger.study import words


def made(kind: KindOfRun, results: dict[str, Result], status: Status = "valid", **missing: NotMeasured) -> Trial:
    return Trial("r", kind, status, (), results, not_measured=missing)


def result(value: float, u: float, unit: str, *, at_least: bool = False) -> Result:
    return Result(Quantity.of(value, unit, u=u, source="s"), "camera", at_least=at_least)


# GUM 7.2.6: the uncertainty to two digits, the value to the same place; k = 1.96 here.
def test_values_are_rounded_by_their_expanded_uncertainty() -> None:
    drift = result(485.3217, 1.7, "mm")
    assert words.said(drift) == "485.3\u00a0±\u00a03.3\u00a0mm"
    assert words.value_only(drift) == "485.3\u00a0mm"
    assert words.give_or_take(drift.quantity) == "3.3\u00a0mm"


def test_a_lower_bound_says_so() -> None:
    assert words.said(result(610.0, 1.7, "mm", at_least=True)).startswith("at least 610.0")


def test_a_plain_number_has_no_unit_and_a_minus_is_a_minus() -> None:
    assert words.said(result(0.98, 0.01, "1")) == "0.980\u00a0±\u00a00.020"
    assert words.value_only(result(-12.0, 1.0, "mm")) == "−12.0\u00a0mm"


def test_a_ratio_is_not_told_to_more_places_than_anybody_can_use() -> None:
    straight = result(0.999359531, 0.00000047, "1")
    assert words.said(straight) == "0.99936\u00a0±\u00a00.00001"
    assert words.value_only(straight) == "0.99936"


def test_an_exact_value_has_no_doubt_to_show() -> None:
    assert words.said(Result(Quantity(3.0, "s"), "card")) == "3\u00a0s"


def test_the_main_result_leads_with_its_doubt() -> None:
    told = words.lead(made("straight", {"time_s": result(4.3124, 0.0041, "s")}))
    assert told == "From the start line to the finish line it took 4.3124\u00a0s, give or take 0.0080\u00a0s."


def test_a_drift_is_told_with_the_speed_at_the_line() -> None:
    told = words.lead(
        made("drift", {"drift_mm": result(485.3, 1.7, "mm"), "speed_at_line_m_per_s": result(0.25, 0.001, "m/s")})
    )
    assert "485.3" in told
    assert "0.2500\u00a0m/s" in told


def test_what_could_not_be_measured_leads_with_its_reason() -> None:
    told = words.lead(made("straight", {}, time_s=NotMeasured("The boat never reached the finish line.")))
    assert told == "The boat never reached the finish line."


@pytest.mark.parametrize("status", ["void", "did_not_finish"])
def test_a_run_that_does_not_count_says_so_first(status: Status) -> None:
    assert "4.3" not in words.lead(made("straight", {"time_s": result(4.3, 0.01, "s")}, status))


@pytest.mark.parametrize("kind", get_args(KindOfRun))
def test_every_kind_of_run_has_a_name_and_a_lead(kind: KindOfRun) -> None:
    assert words.kind_of_run(kind)
    assert words.lead(made(kind, {})).endswith(".")
    assert words.main_result(kind) in columns.COLUMNS


@pytest.mark.parametrize("reason", get_args(EndReason))
def test_every_end_is_a_sentence(reason: EndReason) -> None:
    told = words.end_of(reason, Rules(stop_speed_mm_per_s=12.0, time_cap_s=45.0))
    assert told[0].isupper()
    assert told.endswith(".")
    if reason == "at_rest":
        assert "12 mm/s" in told
    if reason == "time_cap":
        assert "45 s" in told


@pytest.mark.parametrize("status", get_args(Status))
def test_every_status_is_in_words(status: Status) -> None:
    assert "_" not in words.status_of(status)


def test_every_unit_of_the_dictionary_can_be_spoken() -> None:
    spoken = {column.unit: words.unit_words(column.unit) for column in columns.COLUMNS.values()}
    assert spoken["m/s"] == "metres per second"
    assert all(said != unit for unit, said in spoken.items() if unit not in ("", "1")), spoken


def test_power_is_told_in_a_few_words() -> None:
    told = words.power_of(Conditions(power="fan", fan_setting="low", fan_distance_mm=400.0, blowers_count=2))
    assert told == "fan, setting low, 400 mm behind the start line, 2 blowing"
    assert words.power_of(Conditions()) == "not noted"


def test_doubts_are_counted() -> None:
    assert [words.doubts_count(n) for n in (0, 1, 2)] == [
        "nothing looked doubtful", "1 thing to look at", "2 things to look at",
    ]  # fmt: skip


def test_a_doubt_about_a_gate_is_told_in_words() -> None:
    assert words.cause("gate start-gate place") == "where the gate “start-gate” stands"
    assert words.cause("gate B stamp") == "the time stamp of the gate “B”"
    assert words.cause("gate distance") == "gate distance"


def test_a_size_is_told_to_the_place_of_its_doubt() -> None:
    assert words.to_the_place_of(1.8823, 0.371, "s") == "1.88\u00a0s"
    assert words.to_the_place_of(0.0043, 0.48, "s") == "less than 0.01\u00a0s"
    assert words.to_the_place_of(0.01, 0.48, "s") == "0.01\u00a0s"
    assert words.to_the_place_of(412.7, 310.0, "mm") == "413\u00a0mm"


def test_a_moment_is_told_before_and_after_the_line() -> None:
    zero = "the bow reached the start line"
    assert words.moment(2.691, zero, 0.434, 0.161) == (
        "2.69 s after the bow reached the start line: the bow is 0.43 m past the start line, going 0.16 m/s"
    )
    assert words.moment(-0.5, zero, -0.021, 0.0) == (
        "0.50 s before the bow reached the start line: the bow is 0.02 m before the start line, going 0.00 m/s"
    )


def test_where_a_boat_called_is_told_in_order_and_doubt_is_said() -> None:
    visits = (
        Visit("Reed Bay", "port", 0, 1_500_000_000, 0.01, 0.01, 1.0),
        Visit("Pile", "obstacle", 2_000_000_000, 2_100_000_000, 0.1, 0.1, 0.7),
        Visit("Stone Quay", "port", 3_000_000_000, 3_000_000_000, 0.0, 0.0, 0.1),
    )
    trial = Trial("r", "course", "valid", (), {}, visits=visits)
    assert words.visits_of(trial) == "It called at Reed Bay for 1.5 s, then perhaps touched Pile."
    assert words.visits_of(Trial("r", "course", "valid", (), {})) == ""


def test_a_count_without_doubt_has_no_give_or_take() -> None:
    assert words.lead(made("rings", {"rings_count": Result(Quantity(3.0, "1", {}), "camera")})) == "Rings reached: 3."
    unsure = words.lead(made("rings", {"rings_count": result(3.0, 0.4, "1")}))
    assert "give or take 0.78" in unsure
