from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from logger.study.pack.page_words import bands_data, class_words, track_words
from logger.study.pack.shell import static_text


def sentences(said: dict[str, Any]) -> Iterator[str]:
    for one in said.values():
        if isinstance(one, dict):
            yield from sentences(one)
        else:
            yield one


def test_every_place_in_a_sentence_is_filled_by_the_script_that_says_it() -> None:
    for said, script in ((track_words(), "track.js"), (class_words(), "scatter.js")):
        code = static_text(script)
        for sentence in sentences(said):
            for place in re.findall(r"\{(\w+)\}", sentence):
                assert re.search(rf"\b{place}\b", code), (place, sentence)


def test_every_sentence_is_said_and_every_said_one_is_there() -> None:
    for said, script in ((track_words(), "track.js"), (class_words(), "scatter.js")):
        code = static_text(script)
        assert {name for name in said if not re.search(rf"words\.{name}\b", code)} == set()
        assert set(re.findall(r"\bwords\.(\w+)", code)) <= set(said)


def test_numbers_are_written_the_same_way_by_scripts_and_by_python() -> None:
    assert [(one["name"], one["length"]["decimals"], one["speed"]["decimals"]) for one in bands_data()] == [
        ("2-3", 0, 0), ("4-5", 1, 1), ("6-8", 4, 4),
    ]  # fmt: skip
