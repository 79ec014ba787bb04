from __future__ import annotations

from logger.vision.track import BRIDGED, DOUBTFUL, MEASURED, QUALITY_WORDS, NotFound, Touch


def test_what_was_not_found_is_false_and_says_why() -> None:
    nothing = NotFound("the camera saw no boat")
    assert not nothing
    assert "no boat" in nothing.reason


def test_quality_numbers_have_their_words() -> None:
    words = (QUALITY_WORDS[MEASURED], QUALITY_WORDS[BRIDGED], QUALITY_WORDS[DOUBTFUL])
    assert words == ("measured", "bridged", "doubtful")


def test_a_touch_is_a_value() -> None:
    assert Touch(1, 2, 3.0) == Touch(1, 2, 3.0)
    assert len({Touch(1, 2, 3.0), Touch(1, 2, 3.0), Touch(1, 2, 4.0)}) == 2
