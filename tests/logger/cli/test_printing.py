from __future__ import annotations

import pytest

from logger.cli import main


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["print"], "the following arguments are required: WHAT"),
        (["print", "tasg"], "invalid choice: 'tasg'"),
        (["print", "tags", "--numbres", "3"], "there is no option '--numbres'; did you mean '--numbers'?"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
