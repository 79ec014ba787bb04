"""Tables become values strictly, and all mistakes are told at once."""

from __future__ import annotations

import os
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from logger import settings
from logger.errors import ConfigError, InputError, StoreError
from logger.settings import Range, Text


@dataclass(frozen=True, slots=True)
class Lamp:
    name: Annotated[str, Text(most=10, least=1)]
    power_w: Annotated[float, Range(above=0, most=60)]
    colour: Literal["warm", "cold"] = "warm"


@dataclass(frozen=True, slots=True)
class Room:
    lamps: tuple[Lamp, ...]
    corner_mm: tuple[float, float]
    is_dark: bool = False
    doors_count: Annotated[int, Range(least=0)] = 1
    height_mm: Annotated[float, Range(above=0)] | None = None
    main: Lamp | None = None
    options: Mapping[str, object] = field(default_factory=dict)
    notes: Annotated[str, Text(most=30, lines=True)] = ""


GOOD: dict[str, Any] = {
    "lamps": [{"name": "desk", "power_w": 8}, {"name": "door", "power_w": 3.5, "colour": "cold"}],
    "corner_mm": [0, -2.5],
}


def mistakes_of(changes: Mapping[str, Any]) -> tuple[str, ...]:
    with pytest.raises(ConfigError, match=r"room\.toml: ") as caught:
        settings.read(Room, {**GOOD, **changes}, file="room.toml")
    return caught.value.mistakes


def test_a_good_table_becomes_a_frozen_value_with_its_defaults() -> None:
    room = settings.read(Room, GOOD, file="room.toml")
    assert room == Room((Lamp("desk", 8.0), Lamp("door", 3.5, "cold")), (0.0, -2.5))
    assert isinstance(room.lamps[0].power_w, float)


def test_all_mistakes_come_at_once_each_with_place_found_and_wanted() -> None:
    lamps = [
        {"name": "desk", "power_w": "8"},
        {"name": "", "power_w": -1, "colour": "cool"},
        {"nmae": "door", "power_w": True},
        7,
    ]
    found = mistakes_of(
        {"lamps": lamps, "corner_mm": [1], "is_dark": 1, "doors_count": 1.0, "height_mm": float("nan"), "main": []}
    )
    assert found == (
        'lamps[1].power_w: found "8", wanted a number > 0 and ≤ 60',
        'lamps[2].name: found "", wanted text of 1 to 10 letters',
        "lamps[2].power_w: found -1, wanted a number > 0 and ≤ 60",
        'lamps[2].colour: found "cool", wanted one of "warm", "cold"; did you mean "cold"?',
        'lamps[3].nmae: unknown name; did you mean "name"?',
        "lamps[3].name: missing, wanted text in quotes",
        "lamps[3].power_w: found true, wanted a number > 0 and ≤ 60",
        "lamps[4]: found 7, wanted a table",
        "corner_mm: found 1 values, wanted a list of 2 numbers",
        "is_dark: found 1, wanted true or false",
        "doors_count: found 1.0, wanted a whole number ≥ 0",
        "height_mm: found nan, wanted a number > 0",
        "main: found [], wanted a table",
    )


@pytest.mark.parametrize("wrong", ["1800", True, float("inf"), float("nan"), None, [1.0], {}, 2**63, 10**400, -3])
def test_nothing_is_taken_for_a_number_that_is_none(wrong: object) -> None:
    (mistake,) = mistakes_of({"height_mm": wrong}) if wrong is not None else ("height_mm: , wanted a number > 0",)
    assert mistake.startswith("height_mm: ")
    assert mistake.endswith("wanted a number > 0")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("=1+1", "does not begin with"),
        ("+49", "does not begin with"),
        ("-x", "does not begin with"),
        ("@home", "does not begin with"),
        ("＝1+1", "does not begin with"),
        ("a\tb", "without control characters"),
        ("a\x00b", "without control characters"),
        ("a\u202eb", "without control characters"),
        ("a\u2028b", "without control characters"),
        (" desk", "without blanks at its ends"),
        ("a" * 11, "text of 1 to 10 letters"),
    ],
)
def test_text_that_could_harm_a_table_or_a_page_is_refused(text: str, wanted: str) -> None:
    (mistake,) = mistakes_of({"lamps": [{"name": text, "power_w": 1}]})
    assert mistake.startswith("lamps[1].name: found ")
    assert wanted in mistake
    assert mistake.isprintable()


def test_line_breaks_are_allowed_where_they_are_wanted_only() -> None:
    assert settings.read(Room, {**GOOD, "notes": "a\nb"}, file="").notes == "a\nb"
    assert mistakes_of({"lamps": [{"name": "a\nb", "power_w": 1}]})


@pytest.mark.parametrize("name", ["Möwe 7", "Ветер", "帆船", "زورق", "half-full", "a=b"])
def test_names_of_all_languages_are_welcome(name: str) -> None:
    assert settings.read(Lamp, {"name": name, "power_w": 1}, file="").name == name


letters = st.text(st.characters(categories=("L", "N")), max_size=10)
numbers = st.floats(min_value=0, max_value=60, exclude_min=True, allow_nan=False)
lamps = st.builds(Lamp, letters.filter(bool), numbers, st.sampled_from(["warm", "cold"]))
points = st.tuples(*[st.floats(allow_nan=False, allow_infinity=False)] * 2)
rooms = st.builds(
    Room,
    st.lists(lamps, max_size=3).map(tuple),
    points,
    st.booleans(),
    st.integers(0, 2**63 - 1),
    st.none() | numbers,
    st.none() | lamps,
    st.dictionaries(letters.filter(bool), st.integers(-5, 5) | letters.filter(bool), max_size=2),
    letters,
)


@given(rooms)
@example(Room((), (0.0, -0.0), options={"a": 1}))
def test_every_value_survives_the_way_through_a_file(room: Room) -> None:
    text = settings.dump(settings.to_table(room))
    assert settings.read(Room, tomllib.loads(text), file="") == room


@given(st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from([*Room.__slots__, "x"]), inner),
    max_leaves=8,
))  # fmt: skip
def test_any_table_whatever_is_read_or_refused_in_words(table: object) -> None:
    refusal = refusal_of(table)
    assert refusal is None or all(": " in mistake for mistake in refusal.mistakes)
    assert refusal is None or str(refusal).isprintable()


def refusal_of(table: Any) -> ConfigError | None:
    try:
        settings.read(Room, table, file="room.toml")
    except ConfigError as error:
        return error
    return None


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the file is empty"),
        (b"\0\0\0\0", "the file is empty"),
        (b"a = 1\nb = 2,5\n", r"line 2: found \"b = 2,5\".*write decimals with a point"),
        (b"a = 1\na = 2\n", "line 2.*not valid TOML"),
        (b"a = [1,\n", "not valid TOML"),
        (b"name = M\xf6we", "byte 9 is not UTF-8; save the file as UTF-8"),
        (b"a = " + b"[" * 50_000, "not valid TOML"),
        (b"a = " + b"9" * 5_000, "not valid TOML"),
        (b"#" * 1_000_001, "larger than 1000000 bytes"),
    ],
)
def test_what_is_no_settings_file_is_explained_in_one_line(tmp_path: Path, data: bytes, message: str) -> None:
    path = tmp_path / "room.toml"
    path.write_bytes(data)
    with pytest.raises(InputError, match=message) as caught:
        settings.load_table(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_folder_in_its_place_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        settings.load_table(tmp_path / "none.toml")
    with pytest.raises(InputError, match="this is no file"):
        settings.load_table(tmp_path)


def test_a_byte_order_mark_and_windows_line_ends_are_welcome(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes("\ufeffa = 1\r\nb = 'x'\r\n".encode())
    assert settings.load_table(tmp_path / "a.toml") == {"a": 1, "b": "x"}


def test_an_edit_keeps_comments_and_order(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("# the tub\nz = 1  # last comes first\n\n[camera]\ndelay_s = 0.0 # light\n")
    settings.edit(path, {"camera.delay_s": 0.004, "camera.line_ns": 15000, "a": "new"}, check=lambda _: None)
    text = path.read_text()
    assert "# the tub\nz = 1  # last comes first\n" in text
    assert "delay_s = 0.004 # light\n" in text
    assert tomllib.loads(text) == {"z": 1, "a": "new", "camera": {"delay_s": 0.004, "line_ns": 15000}}


def test_one_of_several_tables_may_be_edited(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("[[gates]]\nname = 'a' # by the door\n[[gates]]\nname = 'b'\noffset_mm = 0 # trip point\n")
    settings.edit(path, {"gates[2].offset_mm": 1.5, "gates[1].offset_mm": -2}, check=lambda _: None)
    assert tomllib.loads(path.read_text()) == {
        "gates": [{"name": "a", "offset_mm": -2}, {"name": "b", "offset_mm": 1.5}]
    }
    assert "# by the door" in path.read_text()
    assert "# trip point" in path.read_text()


def test_an_edit_that_would_be_wrong_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("a = 1\n")

    def refuse(table: dict[str, Any]) -> None:
        raise ConfigError("a.toml", [f"a: found {table['a']}"])

    with pytest.raises(ConfigError, match="found 2"):
        settings.edit(path, {"a": 2}, check=refuse)
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]
    assert path.read_text() == "a = 1\n"


def test_a_file_is_written_whole_and_nothing_else_is_left(tmp_path: Path) -> None:
    settings.write_whole(tmp_path / "a.csv", "ä\n")
    assert (tmp_path / "a.csv").read_bytes() == "ä\n".encode()
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) & 0o444


def test_text_that_cannot_be_written_leaves_the_old_file_and_no_scraps(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError, match="surrogates"):
        settings.write_whole(tmp_path / "a.csv", "\ud800")
    assert [(path.name, path.read_text(encoding="utf-8")) for path in tmp_path.iterdir()] == [("a.csv", "old")]


def test_an_edit_that_cannot_be_written_leaves_the_old_file(tmp_path: Path) -> None:
    old = tmp_path / "a.toml"
    old.write_text("a = 1\n", encoding="utf-8")
    (tmp_path / f".{old.name}.{os.getpid()}").mkdir()  # stands where the new text would grow
    with pytest.raises(StoreError, match=r"could not be written \(.*\); free some space or check permissions"):
        settings.edit(old, {"a": 2}, check=lambda _: None)
    assert old.read_text(encoding="utf-8") == "a = 1\n"
