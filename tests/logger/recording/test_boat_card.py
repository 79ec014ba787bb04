from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from logger.config import Boat, Tag
from logger.errors import ConfigError, StoreError
from logger.recording.boat_card import Steps, number_of, oddities, read_boat, tag_of, with_numbers, write_boat

AT = datetime.fromisoformat("2026-05-04T10:15:00+02:00")
SWAN = Boat("Paper Swan", length_mm=210.0, width_mm=80.0, freeboard_mm=20.0, mass_g=48.0)


def test_a_scale_in_steps_of_one_gram_is_rectangular() -> None:
    """JCGM 100:2008, F.2.2.1: steps of δx leave a standard uncertainty of 0.29·δx."""
    assert number_of("mass_g", "48", Steps()) == {"mass_g": 48.0, "u_mass_g": 0.29}
    assert number_of("mass_g", "48.3", Steps(scale_g=0.1))["u_mass_g"] == 0.029


def test_a_length_is_read_at_two_ragged_ends_and_a_height_at_the_waters_edge() -> None:
    assert number_of("length_mm", "21 cm", Steps()) == {"length_mm": 210.0, "u_length_mm": 0.71}
    assert number_of("freeboard_mm", "20", Steps()) == {"freeboard_mm": 20.0, "u_freeboard_mm": 1.2}
    coarse = number_of("length_mm", "8 1/4 in", Steps())["u_length_mm"]
    assert coarse == pytest.approx(math.hypot(25.4 / 4 / math.sqrt(6), 1 / math.sqrt(3)), rel=0.02)


def test_what_the_person_says_of_the_doubt_counts() -> None:
    assert number_of("length_mm", "210 ± 3", Steps())["u_length_mm"] == 1.7


def test_the_tags_numbers_go_into_the_tag() -> None:
    tagged = replace(SWAN, tag=Tag("square", 3))
    made = with_numbers(tagged, number_of("tag.height_mm", "24", Steps()))
    assert made.tag is not None
    assert (made.tag.height_mm, made.tag.u_height_mm) == (24.0, 1.2)
    with pytest.raises(ValueError, match="the card has no tag"):
        with_numbers(SWAN, {"tag.height_mm": 24.0})


def test_nothing_and_less_are_no_lengths() -> None:
    with pytest.raises(ValueError, match="wanted a number above 0"):
        number_of("length_mm", "0", Steps())
    with pytest.raises(ValueError, match="wanted a number above 0"):
        number_of("freeboard_mm", "-3", Steps())


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"length_mm": 21.0}, "length_mm: found 21 mm (were cm typed for mm?)"),
        ({"length_mm": 5.0, "width_mm": None}, "were inches typed for mm"),
        ({"width_mm": 240.0}, "more than the length of 210 mm; exchanged?"),
        ({"freeboard_mm": 180.0}, "not to the mast's top"),
        ({"mass_g": 0.048}, "were kg typed for g"),
        ({"mass_g": 48000.0}, "were mg typed for g"),
        ({"mass_g": 1.2}, "would draw at least 0.071 mm of water, less than a sheet of foil"),
        ({"mass_g": 1900.0}, "deeper than any such tank"),
        ({"tag": Tag("square", 3, size_mm=4.0)}, "tag.size_mm: found 4 mm (were cm typed for mm?)"),
        ({"tag": Tag("square", 3, height_mm=3.0)}, "it counts from the water, not from the deck"),
        ({"tag": Tag("square", 3, height_mm=190.0)}, "a print so high swings"),
        ({"tag": Tag("square", 3, bow_ahead_mm=300.0)}, "tag.bow_ahead_mm: found 300 mm"),
    ],
)
def test_what_is_hardly_possible_is_told(changes: dict[str, object], told: str) -> None:
    assert oddities(SWAN) == []
    assert any(told in one for one in oddities(replace(SWAN, **changes)))  # type: ignore[arg-type]


def test_a_card_survives_its_file_and_its_older_state_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "swan.toml"
    assert write_boat(path, SWAN, at=AT) is None
    assert read_boat(path) == SWAN
    path.write_text(path.read_text() + "\n[rules]\ntime_cap_s = 30  # short\n")
    before = path.read_text()
    older = write_boat(path, replace(SWAN, version=2, mass_g=55.0, width_mm=None), at=AT)
    assert older is not None
    assert older.read_text() == before
    assert read_boat(path).mass_g == 55.0
    assert read_boat(path).width_mm is None
    assert "time_cap_s = 30  # short" in path.read_text()


def test_a_card_that_does_not_change_is_not_written_again(tmp_path: Path) -> None:
    path = tmp_path / "swan.toml"
    write_boat(path, SWAN, at=AT)
    assert write_boat(path, SWAN, at=AT) is None
    assert list(tmp_path.iterdir()) == [path]


def test_a_wrong_card_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="wanted the number printed below the square"):
        write_boat(tmp_path / "swan.toml", replace(SWAN, tag=Tag("square")), at=AT)
    assert list(tmp_path.iterdir()) == []


def test_squares_have_numbers_and_discs_have_none() -> None:
    assert tag_of(None, None, None) is None
    assert tag_of(None, 3, None) == Tag("square", 3)
    assert tag_of("disc", None, Tag("square", 3)) == Tag("disc")
    assert tag_of("none", None, Tag("square", 3)) is None
    with pytest.raises(ConfigError, match="a square needs its number"):
        tag_of("square", None, None)
    with pytest.raises(ConfigError, match="a disc needs no number"):
        tag_of("disc", 3, None)


def test_the_first_card_makes_its_folder_and_a_mistyped_way_is_told(tmp_path: Path) -> None:
    write_boat(tmp_path / "cards" / "swan.toml", SWAN, at=AT)
    assert read_boat(tmp_path / "cards" / "swan.toml") == SWAN
    with pytest.raises(StoreError, match="could not be written"):
        write_boat(tmp_path / "nowhere" / "at all" / "swan.toml", SWAN, at=AT)
    assert not (tmp_path / "nowhere").exists()
