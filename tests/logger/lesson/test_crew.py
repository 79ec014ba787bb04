from __future__ import annotations

from pathlib import Path

from logger.lesson.crew import Crew, Told
from tests.logger.lesson.lessons import Hands, opened


def test_the_desks_ear_hears_all_that_a_crew_tells(tmp_path: Path) -> None:
    desk, hands, _ = opened(tmp_path)
    ear: Told = desk.ear
    crew: Crew = hands
    assert {name for name in vars(Told) if not name.startswith("_")} <= set(dir(ear))
    assert {name for name in vars(Crew) if not name.startswith("_")} <= set(dir(crew))
    assert isinstance(hands, Hands)
