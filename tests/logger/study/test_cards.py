from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calibration.errors import CalibrationError
from logger.cli import COMMANDS
from logger.drivers.interface import Shown
from logger.study.cards import CARDS, COMMAND_PT, STEP_PT, cards_sheet, draw_card
from logger.study.paper import MM_PER_POINT, PAPERS, Sheet
from tests.logger.study.printed import PX_PER_MM, ink_mm, needs_poppler, pages, told


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", CARDS)
def test_a_card_fits_on_its_page_with_room_to_spare(name: str, paper: str) -> None:
    assert draw_card(Sheet(PAPERS[paper], title="card"), CARDS[name]) > 0


@pytest.mark.parametrize("paper", PAPERS)
def test_no_command_is_wider_than_its_frame(paper: str) -> None:
    sheet = Sheet(PAPERS[paper], title="card")
    for card in CARDS.values():
        for step in card.steps:
            room_mm = PAPERS[paper].inside_mm[2] - 5
            assert sheet.width_mm(step.command, size_pt=COMMAND_PT, bold=True) <= room_mm


@needs_poppler
def test_letters_can_be_read_from_a_metre_and_all_is_black_or_white(tmp_path: Path) -> None:
    """A capital is a two-hundredth of the distance high, 5 mm (common practice, from memory); measured on paper."""
    assert STEP_PT * MM_PER_POINT * 0.7 > 5.0
    made = pages(cards_sheet(list(CARDS), PAPERS["a4"]), tmp_path)
    assert len(made) == len(CARDS)
    for page in made:
        left, lower, right, upper = ink_mm(page)
        assert left >= 19.5, "room for filing holes"
        assert min(lower, right, upper) >= 9.0
        number = page[300:420, 200:290] < 128  # the first step's digit, below the black banner
        rows = np.flatnonzero(number.any(axis=1))
        assert (rows[-1] - rows[0] + 1) / PX_PER_MM > 5.0
        assert np.mean((page > 40) & (page < 215)) < 0.02, "grey only where letters are smoothed"


@needs_poppler
def test_every_word_is_there(tmp_path: Path) -> None:
    said = " ".join(told("pdftotext", cards_sheet(["lesson"], PAPERS["letter"]), tmp_path, "-layout").split())
    for step in CARDS["lesson"].steps:
        assert step.words.split(".")[0].split()[0] in said
        assert step.command in said
    assert CARDS["lesson"].rule.split(".")[0] in said


def test_cards_say_what_must_be_said() -> None:
    every = {name: " ".join([*(s.words for s in card.steps), card.rule]) for name, card in CARDS.items()}
    assert "RCD or GFCI" in every["set-up"]
    assert "mains" in every["set-up"]
    assert "adult watches the water" in every["lesson"]
    assert "HANDS OUT" in every["lesson"]
    assert "Turn it over" in every["lesson"]
    assert "No names" in every["lesson"]
    assert "Switch off before you plug" in every["faults"]
    assert "armed" in Shown.__args__, "what the lamp's steady light means"  # type: ignore[attr-defined]
    for card in CARDS.values():
        for step in card.steps:
            assert not step.command or step.command.split()[1] in COMMANDS


@pytest.mark.parametrize("names", [[], ["setup"]])
def test_a_card_that_is_not_there_is_told(names: list[str]) -> None:
    with pytest.raises(CalibrationError, match="wanted cards of set-up, lesson, faults"):
        cards_sheet(names, PAPERS["a4"])


def test_the_same_cards_are_the_same_file() -> None:
    assert cards_sheet(["set-up"], PAPERS["a4"]) == cards_sheet(["set-up"], PAPERS["a4"])
