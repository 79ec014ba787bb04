from __future__ import annotations

import json
from pathlib import Path

from tests.logger.lesson.lessons import opened


def test_a_board_is_plain_json(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    desk.arm()
    hands.finishes()
    desk.show_ranking(True)
    table = json.loads(json.dumps(desk.board().table(), allow_nan=False))
    assert table["state"] == "deciding"
    assert table["last"]["figures"][0]["name"] == "time_s"
    assert table["who"]["nickname"] == desk.board().who.nickname  # type: ignore[union-attr]
    assert isinstance(table["ranking"], list)
