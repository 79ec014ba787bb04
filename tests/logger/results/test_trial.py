from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from logger.results.trial import NotMeasured, Trial


def test_what_could_not_be_measured_is_false_and_says_why() -> None:
    assert not NotMeasured("no pictures")
    assert NotMeasured("no pictures").reason == "no pictures"


def test_a_trial_cannot_be_changed() -> None:
    trial = Trial("r", "straight", "valid", (), {})
    with pytest.raises(FrozenInstanceError, match="status"):
        trial.status = "void"  # type: ignore[misc]
