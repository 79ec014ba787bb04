"""A recording that was cut short at any instant, in any byte, opens up to its last whole line and picture."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.errors import InputError, StoreError
from logger.recording.disk import RESERVE_BYTES
from logger.recording.folder import Recording, load
from logger.recording.journal import Journal
from logger.recording.recovery import RESERVE, find_unfinished, free_id, free_space, is_unfinished, unfinished_name
from logger.recording.sensor_tables import FrameStamps, read_edges, read_events, read_stamps
from logger.records import Edge, Frame, Key

from .conftest import CAMERA, CARD, RIG, contents, frame, jpeg, mounted
from .killed import RECORDS_COUNT, big_jpeg, records

STOPPED = "the recorder was stopped before the end; used up to its last whole line and picture"
PROJECT = Path(__file__).resolve().parents[3]
SENT = list(records())


def instants(count: int) -> list[str]:
    """From before the first file to after the last, with spare microseconds of every size."""
    chance = random.Random(count)  # noqa: S311
    found = {f"0:{after_us}" for after_us in (0, 200, 500, 1000, 2000, 4000)}
    while len(found) < count:
        found.add(f"{chance.randrange(RECORDS_COUNT)}:{int(10 ** chance.uniform(0, 3.3))}")
    return sorted(found)


def test_a_recorder_killed_at_any_instant_loses_nothing_that_it_had_said_was_kept(tmp_path: Path) -> None:
    check_kills(tmp_path, instants(20))


@pytest.mark.bench
def test_a_recorder_killed_at_many_instants_loses_nothing_that_it_had_said_was_kept(tmp_path: Path) -> None:
    check_kills(tmp_path, instants(400))


def check_kills(place: Path, moments: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-B", "-m", "tests.logger.recording.killed", str(place), *moments],
        cwd=PROJECT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    said = [line.split() for line in done.stdout.splitlines()]
    assert [instant for instant, _ in said] == moments
    for instant, kept in said:
        check_killed(place / instant, int(kept))
    assert len(find_unfinished(place)) > len(moments) // 2


def check_killed(folder: Path, kept_count: int) -> None:
    if folder.exists():
        recording = load(folder)
        assert recording.doubts == ()
        check_kept(recording, RECORDS_COUNT)
        return
    folder = unfinished_name(folder)
    if kept_count == 0:  # it had not said yet that it was ready
        check_early(folder)
        return
    before = contents(folder)
    recording = load(folder)
    assert recording.doubts[0] == STOPPED
    check_kept(recording, kept_count)
    assert contents(folder) == before


def check_early(folder: Path) -> None:
    """Nothing yet, or nothing to measure, or a whole recording without records."""
    if not folder.exists() or not (folder / "edges.csv").exists():
        with pytest.raises(
            InputError, match=r"there is no such recording|the recorder was stopped before the run began"
        ):
            load(folder)
    else:
        assert len(load(folder).edges) <= 1


def check_kept(recording: Recording, kept_count: int) -> None:
    """At least what was said, at most one more, and every one as it was sent."""
    times = {one.t_ns for one in SENT[:kept_count]}
    frames = list(recording.frames())
    edges = [one for one in SENT if isinstance(one, Edge)]
    assert [(e.t_ns, e.blocked, e.count) for e in recording.edges] == [
        (e.t_ns, e.blocked, e.count) for e in edges[: len(recording.edges)]
    ]
    assert [found.jpeg for found in frames] == [big_jpeg(n) for n in range(len(frames))]
    sent_frames = [one for one in SENT if isinstance(one, Frame)]
    assert [found.t_ns for found in frames] == [one.t_ns for one in sent_frames[: len(frames)]]
    notes = {event.t_ns for event in recording.events if event.event == "note"}
    for kind, found in ((Edge, {e.t_ns for e in recording.edges}), (Frame, {f.t_ns for f in frames}), (Key, notes)):
        said = {one.t_ns for one in SENT if isinstance(one, kind)} & times
        assert said <= found
        assert len(found) <= len(said) + 1 or kept_count == RECORDS_COUNT


@pytest.fixture(scope="module")
def cut_short(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording of eight pictures and ten edges that was not closed."""
    journal = Journal(tmp_path_factory.mktemp("cut") / "r", card=CARD, rig=RIG, calibration=CAMERA)
    for number in range(10):
        journal.keep(Edge(10**9 + number, "first", number % 2 == 0, "gates", number))
        journal.keep(Key(10**9 + number, "note", "page", f"number {number}"))
        if number < 8:
            journal.keep(frame(number))
    journal.abandon()
    return journal.growing


FILES = ("edges.csv", "events.csv", "frames.csv", "video.mjpeg")


def check_cut(folder: Path) -> None:
    """What opens is a beginning of what was written."""
    recording = load(folder)
    assert recording.doubts[0] == STOPPED
    assert [edge.t_ns for edge in recording.edges] == [10**9 + n for n in range(len(recording.edges))]
    assert [event.detail for event in recording.events] == [f"number {n}" for n in range(len(recording.events))]
    frames = list(recording.frames())
    assert all(found.jpeg is not None and found.jpeg.startswith(jpeg(n)) for n, found in enumerate(frames))
    assert [found.t_ns for found in frames] == [frame(n).t_ns for n in range(len(frames))]


def copy_of(folder: Path, place: Path) -> Path:
    return Path(shutil.copytree(folder, place / folder.name))


def test_tables_cut_at_every_byte_open_up_to_their_last_whole_line(cut_short: Path, tmp_path: Path) -> None:
    readers = {
        "edges.csv": lambda path: read_edges(path, RIG, DOUBTS.append, cut_short=True),
        "events.csv": lambda path: read_events(path, DOUBTS.append, cut_short=True),
        "frames.csv": lambda path: stamps_of(read_stamps(path, RIG, DOUBTS.append, cut_short=True)),
    }
    for name, reader in readers.items():
        data = (cut_short / name).read_bytes()
        whole = reader(cut_short / name)
        for cut in range(len(data) + 1):
            (tmp_path / name).write_bytes(data[:cut])
            lines = max(0, data[:cut].count(b"\n") - 1)
            assert reader(tmp_path / name) == whole[:lines]


def stamps_of(stamps: FrameStamps | None) -> tuple[int, ...]:
    return () if stamps is None else tuple(stamps.t_ns.tolist())


DOUBTS: list[str] = []


def test_a_video_cut_in_its_last_pictures_opens_up_to_the_last_whole_one(cut_short: Path, tmp_path: Path) -> None:
    folder = copy_of(cut_short, tmp_path)
    data = (folder / "video.mjpeg").read_bytes()
    ends = [sum(len(jpeg(k)) for k in range(n)) for n in range(9)]
    near = {end + step for end in ends[-2:] for step in (-3, -2, -1, 0, 1, 2, 3, 4)}
    for cut in sorted(near | set(range(ends[-2], ends[-1], 199))):
        (folder / "video.mjpeg").write_bytes(data[:cut])
        check_cut(folder)
        assert len(list(load(folder).frames())) == sum(end <= cut for end in ends) - 1


@settings(max_examples=25)
@given(st.fixed_dictionaries({name: st.floats(0, 1) for name in FILES}), st.sampled_from([0, 1, 700, 4096, 9000]))
def test_any_cut_of_all_files_with_or_without_blocks_of_zeros_opens(
    cut_short: Path, tmp_path_factory: pytest.TempPathFactory, shares: dict[str, float], zeros: int
) -> None:
    place = tmp_path_factory.mktemp("zeros")
    folder = copy_of(cut_short, place)
    for name, share in shares.items():
        data = (folder / name).read_bytes()
        (folder / name).write_bytes(data[: round(share * len(data))] + bytes(zeros))
    check_cut(folder)
    shutil.rmtree(place)


def test_a_hole_in_the_video_ends_it_there_and_no_picture_gets_the_time_of_another(
    cut_short: Path, tmp_path: Path
) -> None:
    folder = copy_of(cut_short, tmp_path)
    data = bytearray((folder / "video.mjpeg").read_bytes())
    ends = [sum(len(jpeg(k)) for k in range(n)) for n in range(9)]
    hole = slice(ends[3] + 700, ends[5] + 700)
    data[hole] = bytes(hole.stop - hole.start)
    (folder / "video.mjpeg").write_bytes(data)
    stamps = (folder / "frames.csv").read_bytes().splitlines(keepends=True)
    for lines in (stamps, stamps[:-1], stamps[:-2]):  # also as many stamps as whole pictures
        (folder / "frames.csv").write_bytes(b"".join(lines))
        recording = load(folder)
        assert [found.t_ns for found in recording.frames()] == [frame(n).t_ns for n in range(3)]
        assert "video.mjpeg: damaged at picture 3; this one and all later ones are left out" in recording.doubts


def test_a_hole_in_a_table_is_its_end(cut_short: Path, tmp_path: Path) -> None:
    folder = copy_of(cut_short, tmp_path)
    data = bytearray((folder / "edges.csv").read_bytes())
    place = data.index(b"\n", data.index(b"1000000003,")) + 5
    data[place : place + 60] = bytes(60)
    (folder / "edges.csv").write_bytes(data)
    recording = load(folder)
    assert [edge.t_ns for edge in recording.edges] == [10**9 + n for n in range(4)]
    assert "edges.csv: from line 6 on it never reached the disk and was left out" in recording.doubts


def test_a_video_whose_beginning_never_reached_the_disk_is_none(cut_short: Path, tmp_path: Path) -> None:
    folder = copy_of(cut_short, tmp_path)
    data = (folder / "video.mjpeg").read_bytes()
    (folder / "video.mjpeg").write_bytes(bytes(1000) + data[1000:])
    recording = load(folder)
    assert recording.video is None
    assert len(recording.edges) == 10


def test_space_set_aside_is_given_back_once_and_again_and_nothing_else_changes(cut_short: Path, tmp_path: Path) -> None:
    folder = copy_of(cut_short, tmp_path)
    assert (folder / RESERVE).stat().st_size == RESERVE_BYTES
    (folder / ".edges.csv.new").write_bytes(b"t_ns,gate")
    kept = {name: data for name, data in contents(folder).items() if not name.startswith(".")}
    for _ in range(2):
        free_space(folder)
        assert contents(folder) == kept
    check_cut(folder)


def test_a_recording_cut_short_on_a_disk_that_cannot_be_written_is_opened_and_left_alone(
    cut_short: Path, tmp_path: Path
) -> None:
    with mounted(tmp_path / "disk", "ext4", size_mb=16) as disk:
        folder = copy_of(cut_short, disk)
        before = contents(folder)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        check_cut(folder)
        free_space(folder)
        assert contents(folder) == before
        with pytest.raises(StoreError, match=r"cannot be written \(Read-only file system\); free some space or check"):
            Journal(disk / "new", card=CARD, rig=RIG, calibration=CAMERA)


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_never_reached_the_disk_costs_itself_only(cut_short: Path, tmp_path: Path, name: str) -> None:
    folder = copy_of(cut_short, tmp_path)
    (folder / name).unlink()
    check_cut(folder)


def test_a_recorder_stopped_before_the_run_leaves_nothing_to_measure(tmp_path: Path) -> None:
    folder = tmp_path / "r.unfinished"
    folder.mkdir()
    (folder / "recording.toml").write_text("format = ")
    with pytest.raises(InputError, match="the recorder was stopped before the run began; there is nothing in it"):
        load(folder)


def test_unfinished_recordings_are_found_by_their_names(cut_short: Path, tmp_path: Path) -> None:
    for name in ("b.unfinished", "a.unfinished", "c", "d.unfinished.zip"):
        (tmp_path / name).mkdir()
    (tmp_path / "e.unfinished").write_text("a file")
    assert find_unfinished(tmp_path) == [tmp_path / "a.unfinished", tmp_path / "b.unfinished"]
    assert is_unfinished(cut_short)
    assert not is_unfinished(tmp_path / "c")


def test_a_name_is_free_if_no_recording_has_it_finished_or_not(tmp_path: Path) -> None:
    assert free_id(tmp_path, "run") == "run-1"
    (tmp_path / "run-1").mkdir()
    unfinished_name(tmp_path / "run-2").mkdir()
    assert free_id(tmp_path, "run") == "run-3"
