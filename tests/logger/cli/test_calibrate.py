from __future__ import annotations

import pytest

from logger.cli import main


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["calibrate"], "the following arguments are required: WHAT"),
        (["calibrate", "lihgt"], "invalid choice: 'lihgt'"),
        (["calibrate", "light", "--regoin", "1,2,3"], "there is no option '--regoin'; did you mean '--region'?"),
        (["calibrate", "light", "--seconds", "3"], "found '3'; wanted seconds from 10 to 600"),
        (["calibrate", "light", "--seconds", "soon"], "found 'soon'; wanted seconds"),
        (["calibrate", "light", "--region", "1,2"], "found '1,2'; wanted column,row,half-side"),
        (["calibrate", "light", "--region", "1,2,1"], "found '1,2,1'; wanted column,row,half-side"),
    ],
)
def test_a_wrong_word_is_one_line_and_status_2(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
