from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.quantity import Quantity, Source
from logger.errors import InputError
from logger.results.columns import RESULTS
from logger.results.measure import conclude
from logger.results.trial import Crossing, NotMeasured, Result, Trial
from logger.results.trial_json import from_json, to_json
from logger.vision.track import Touch

numbers = st.floats(allow_nan=False, allow_infinity=False, width=64).filter(lambda v: abs(v) < 1e100)
words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30)
found_sources = st.builds(Source, words, st.one_of(st.just(math.inf), st.floats(1, 100)), words)
found_quantities = st.builds(
    Quantity, numbers, st.sampled_from(["s", "mm", "1"]), st.dictionaries(found_sources, numbers, max_size=4)
)
trials = st.builds(
    Trial,
    run_id=words,
    kind=st.sampled_from(["straight", "drift", "rings"]),
    status=st.sampled_from(["valid", "void", "did_not_finish", "freed"]),
    crossings=st.lists(
        st.builds(Crossing, words, st.integers(0, 2**62), st.floats(0, 10), st.sampled_from(["gate", "camera"])),
        max_size=2,
    ).map(tuple),
    results=st.dictionaries(
        st.sampled_from(RESULTS),
        st.builds(Result, found_quantities, st.sampled_from(["gate", "gate+camera"]), st.booleans()),
    ),
    not_measured=st.dictionaries(st.sampled_from(RESULTS), st.builds(NotMeasured, words)),
    flags=st.lists(words, max_size=3).map(tuple),
    touches=st.lists(
        st.builds(Touch, st.integers(0, 2**62), st.integers(0, 2**62), st.floats(0, 3000)), max_size=2
    ).map(tuple),
    end_reason=st.sampled_from(["finish", "wall", "at_rest"]),
    software=words,
    calibration_id=words,
    simulated=st.booleans(),
)


@given(trials)
def test_there_and_back_is_the_same_trial(trial: Trial) -> None:
    assert from_json(to_json(trial)) == trial


def test_the_text_is_as_the_format_says(shop: Any) -> None:
    rig = shop.rig()
    edges = [*shop.edges("A", (2.0, 3.0)), *shop.edges("B", (8.0, 9.0))]
    content = json.loads(to_json(conclude(shop.recording(rig, edges=edges), rig, None).trial))
    assert content["format"] == "boatrun-trial/1"
    assert content["crossings"][0].keys() == {"line", "t_ns", "u_s", "from"}
    time = content["results"]["time_s"]
    assert time.keys() == {"value", "u", "U", "k", "dof", "unit", "from"}
    assert (time["unit"], time["from"], time["dof"]) == ("s", "gate", None)
    assert time["U"] == pytest.approx(time["k"] * time["u"])
    assert time["k"] == pytest.approx(1.95996, abs=1e-5)
    budget = content["contributions"]["time_s"]
    assert math.sqrt(sum(part["u"] ** 2 for part in budget)) == pytest.approx(time["u"])
    assert abs(budget[0]["u"]) == max(abs(part["u"]) for part in budget)


def test_a_lower_bound_says_so() -> None:
    trial = Trial("r", "drift", "valid", (), {"drift_mm": Result(Quantity(700.0, "mm"), "camera", at_least=True)})
    assert json.loads(to_json(trial))["results"]["drift_mm"]["at_least"] is True


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "a.json: not JSON"),
        ("[]", "a.json: format 'list'; wanted 'boatrun-trial/1'"),
        ('{"format": "boatrun-trial/2"}', "a.json: format 'boatrun-trial/2'; wanted"),
        ('{"format": "boatrun-trial/1"}', "a.json: KeyError at 'contributions'; wanted a complete"),
    ],
)
def test_what_is_no_trial_is_refused_in_one_line(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message.replace("[", r"\[")) as caught:
        from_json(text, where="a.json")
    assert "\n" not in str(caught.value)


def test_a_status_that_is_none_is_refused() -> None:
    text = to_json(Trial("r", "straight", "valid", (), {})).replace('"valid"', '"excellent"')
    with pytest.raises(InputError, match="'excellent', one of valid, void"):
        from_json(text)
