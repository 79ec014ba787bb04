"""Stamps, edges and events as a recording's tables hold them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.config import CameraSetup, Rig
from logger.errors import InputError
from logger.recording.sensor_tables import Event, event_of_fault, read_edges, read_events, read_fault, read_stamps
from logger.records import Edge, Fault


@pytest.fixture
def table(tmp_path: Path) -> Path:
    return tmp_path / "table.csv"


def test_stamps_carry_their_own_exposure_or_the_rigs(table: Path, rig: Rig) -> None:
    rig = replace(rig, camera=CameraSetup(None, "c", line_ns=7, exposure_ns=9))
    table.write_text("frame,t_ns,line_ns\n0,5,\n1,6,3\n")
    stamps = read_stamps(table, rig, pytest.fail)
    assert stamps is not None
    assert stamps.t_ns.tolist() == [5, 6]
    assert stamps.line_ns.tolist() == [7, 3]
    assert stamps.exposure_ns.tolist() == [9, 9]
    assert not stamps.t_ns.flags.writeable


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("0,5\n1,5\n", r'line 3: t_ns is "5"; wanted more than 5, the time of the line before \(time goes forwards\)'),
        ("0,5\n1,4\n", r'line 3: t_ns is "4"; wanted more than 5'),
        ("1,5\n", r'line 2: frame is "1"; wanted 0 \(pictures are counted 0, 1, 2'),
        ("0,5\n2,6\n", r'line 3: frame is "2"; wanted 1'),
        ("0,5\n1,NaN\n", r'line 3: t_ns is "NaN"; wanted a whole number'),
        ("0,0.033\n", r'line 2: t_ns is "0\.033"; wanted .*times in nanoseconds'),
        ("0,-5\n", r'line 2: t_ns is "-5"; wanted a whole number, 0 or more'),
    ],
)
def test_stamps_that_repeat_go_back_or_miss_a_picture_are_refused(
    table: Path, rig: Rig, lines: str, message: str
) -> None:
    table.write_text("frame,t_ns\n" + lines)
    with pytest.raises(InputError, match=message):
        read_stamps(table, rig, pytest.fail)


def test_an_exposure_longer_than_a_second_is_refused(table: Path, rig: Rig) -> None:
    table.write_text("frame,t_ns,exposure_ns\n0,5,5000000000\n")
    with pytest.raises(InputError, match=r"line 2: exposure_ns is .* at most 1000000000"):
        read_stamps(table, rig, pytest.fail)


def test_edges_are_read_with_and_without_their_running_number(table: Path, rig: Rig) -> None:
    table.write_text('t_ns,gate,level,count\n5,first,1,\n6,"last, by the wall",1,4\n6,first,0,5\n')
    assert read_edges(table, rig, pytest.fail) == (
        Edge(5, "first", True, "gates"),
        Edge(6, "last, by the wall", True, "gates", 4),
        Edge(6, "first", False, "gates", 5),
    )


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ("5,first,1\n4,first,0\n", r'line 3: t_ns is "4"; wanted at least 5, the time of the line before'),
        ('5,first,1\n4,"last, by the wall",1\n', r'line 3: t_ns is "4"; wanted at least 5'),
        ("5,first,1\n5,first,1\n", r'line 3: t_ns is "5"; wanted each edge once; first has this edge already'),
        ("5,frist,1\n", r'gate is "frist"; wanted the name of a gate in rig\.toml \("first", .*did you mean "first"'),
        ("5,first,2\n", r'line 2: level is "2"; wanted a whole number, 0 or more and at most 1'),
        ("5,first,on\n", r'line 2: level is "on"; wanted'),
        ("5,first,1.0\n", r'line 2: level is "1\.0"; wanted'),
        ("5.5,first,1\n", r'line 2: t_ns is "5\.5"; wanted'),
    ],
)
def test_edges_out_of_order_doubled_or_of_nobody_are_refused(table: Path, rig: Rig, lines: str, message: str) -> None:
    table.write_text("t_ns,gate,level\n" + lines)
    with pytest.raises(InputError, match=message):
        read_edges(table, rig, pytest.fail)


def test_edges_of_a_rig_without_gates_are_refused(table: Path, rig: Rig) -> None:
    table.write_text("t_ns,gate,level\n5,first,1\n")
    with pytest.raises(InputError, match="none: it has no gates"):
        read_edges(table, replace(rig, gates=()), pytest.fail)


def test_edges_of_a_recorder_that_was_stopped_may_stand_as_they_arrived(table: Path, rig: Rig) -> None:
    table.write_text('t_ns,gate,level\n5,first,1\n4,"last, by the wall",1\n')
    assert [edge.t_ns for edge in read_edges(table, rig, pytest.fail, cut_short=True)] == [4, 5]


def test_events_come_in_order_of_time(table: Path) -> None:
    table.write_text('t_ns,event,detail\n9,note,"a gust, then calm"\n5,go,\n')
    assert read_events(table, pytest.fail) == (Event(5, "go"), Event(9, "note", "", "a gust, then calm"))


def test_an_event_without_a_name_is_refused(table: Path) -> None:
    table.write_text("t_ns,event\n9, \n")
    with pytest.raises(InputError, match=r'line 2: event is " "; wanted a word such as go, note, freed'):
        read_events(table, pytest.fail)


@pytest.mark.parametrize("number", ["", "seven", "7.5", "-1", "10001", "٧"])
def test_a_count_that_is_no_number_of_things_is_refused(table: Path, number: str) -> None:
    table.write_text(f"t_ns,event,detail\n9,cargo,{number}\n", encoding="utf-8")
    with pytest.raises(
        InputError, match=r"line 2: detail is .*wanted in detail how many: a whole number from 0 to 10000"
    ):
        read_events(table, pytest.fail)


def test_a_count_without_a_detail_column_is_refused_too(table: Path) -> None:
    table.write_text("t_ns,event\n9,rings\n")
    with pytest.raises(InputError, match=r"line 2: event is .*wanted in detail how many"):
        read_events(table, pytest.fail)


def test_a_count_comes_back(table: Path) -> None:
    table.write_text("t_ns,event,source,detail\n9,rings,page,3\n")
    assert read_events(table, pytest.fail) == (Event(9, "rings", "page", "3"),)


def test_what_is_not_there_is_empty(table: Path, rig: Rig) -> None:
    assert read_stamps(table, rig, pytest.fail) is None
    assert read_edges(table, rig, pytest.fail) == ()
    assert read_events(table, pytest.fail) == ()


@pytest.mark.parametrize("head", ["", "t_ns", "t_ns,gate,level"])
def test_a_table_that_was_stopped_before_its_header_was_whole_is_empty(table: Path, rig: Rig, head: str) -> None:
    table.write_text(head)
    assert read_edges(table, rig, lambda _: None, cut_short=True) == ()


@pytest.mark.parametrize("since_ns", [None, 5])
def test_a_fault_comes_back_from_its_event_whatever_its_cure_says(since_ns: int | None) -> None:
    fault = Fault(9, "gates", "gate A: 2 edges lost; and a third", "look at the plug; then run again", since_ns)
    read = read_fault(event_of_fault(fault))
    assert read == replace(fault, cure="look at the plug, then run again")
