from __future__ import annotations

from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.place_list import GivenPlace, GivenPoint, place_of_words, read_places


@pytest.mark.parametrize(
    ("words", "point"),
    [
        ("0,-250", GivenPoint(at_mm=(0.0, -250.0))),
        ("-300.5,−12", GivenPoint(at_mm=(-300.5, -12.0))),
        ("@212.5,88", GivenPoint(pixel=(212.5, 88.0))),
        ("@212,88/floor", GivenPoint(pixel=(212.0, 88.0), on_floor=True)),
        ("@212,88/30", GivenPoint(pixel=(212.0, 88.0), height_mm=30.0)),
        ("#7/45", GivenPoint(mark=7, height_mm=45.0)),
        ("x=1200", GivenPoint(across_mm=1200.0)),
    ],
)
def test_every_way_to_give_a_point(words: str, point: GivenPoint) -> None:
    assert place_of_words(f"mark here {words}").points == (point,)


def test_names_of_several_words_stand_in_quotes() -> None:
    place = place_of_words('ring "red ring" 700,0 r=60')
    assert (place.kind, place.name, place.radius_mm) == ("ring", "red ring", 60.0)
    assert place_of_words("beam B 0,0 0,9 line=start").line == "start"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("start start", "wanted kind, name and points"),
        ("begin start 0,0 0,9", "found the kind 'begin'; wanted one of start, mark, finish, beam"),
        ("start =cmd 0,0 0,9", "found the name '=cmd'"),
        ("start start 0;0", "found '0;0'; wanted a point"),
        ("start start 0,0/floor", "a typed point needs no height"),
        ("start start @1,2/-100", "lies on the floor: write /floor"),
        ("start start @1,2/deep", "found '@1,2/deep'; wanted numbers"),
        ("ring r 0,0 r=-3", "wanted a radius above 0"),
        ("start start 0,99999999", "at most 50000"),
        ('start "start 0,0', "its quotes do not match"),
    ],
)
def test_words_that_say_no_place_are_refused(words: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        place_of_words(words)


def table(tmp_path: Path, *lines: str, head: str = "name,kind,column_px,row_px,height_mm") -> Path:
    path = tmp_path / "points.csv"
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


def test_points_of_one_name_belong_together(tmp_path: Path) -> None:
    start, port = read_places(table(
        tmp_path, "start,start,10,20,floor", "start,start,10,700,floor",
        '"the port, left",port,5,5,', '"the port, left",port,9,5,',
    ))  # fmt: skip
    assert start == GivenPlace("start", "start", (
        GivenPoint(pixel=(10.0, 20.0), on_floor=True), GivenPoint(pixel=(10.0, 700.0), on_floor=True),
    ))  # fmt: skip
    assert len(port.points) == 2


def test_typed_points_and_marks_with_their_own_doubt(tmp_path: Path) -> None:
    head = "name,kind,x_mm,y_mm,mark,height_mm,radius_mm,line,u_mm"
    ring, beam = read_places(table(tmp_path, "r,ring,700,0,,,60,,3", "B,beam,,,4,45,,finish,", head=head))
    assert ring.radius_mm == 60.0
    assert ring.points == (GivenPoint(at_mm=(700.0, 0.0), u_mm=3.0),)
    assert (beam.line, beam.points) == ("finish", (GivenPoint(mark=4, height_mm=45.0),))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ((), "found no places"),
        (("start,start,10,,",), "line 2: found one of two coordinates"),
        (("start,start,,,",), "line 2: wanted one of x_mm and y_mm, column_px and row_px, or mark"),
        (("start,begin,1,2,",), "line 2: found the kind 'begin'"),
        (("a,start,1,2,", "b,finish,1,2,", "a,start,1,9,"), "line 4: name is \"a\"; wanted a name of its own for each"),
        (("a,start,1,2,", "a,finish,1,9,"), "line 3: name is \"a\"; wanted a name of its own"),
    ],
)  # fmt: skip
def test_tables_that_say_no_places_are_refused(tmp_path: Path, lines: tuple[str, ...], told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_places(table(tmp_path, *lines))


def test_a_torn_last_line_is_refused(tmp_path: Path) -> None:
    path = table(tmp_path, "start,start,10,20,")
    path.write_text(path.read_text() + "start,start,10")
    with pytest.raises(InputError, match="end the last line with a line break"):
        read_places(path)
