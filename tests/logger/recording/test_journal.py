"""The journal keeps every record before anything else, in an order and at a pace that a crash cannot spoil."""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from queue import Queue

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.config import Boat, Rig, RunCard
from logger.errors import ConfigError, StoreError
from logger.recording.disk import PICTURES_BYTES
from logger.recording.folder import Event, load
from logger.recording.journal import LAST_WORDS_COUNT, PROMISE_NS, REFUSED_COUNT, Journal
from logger.recording.recovery import is_unfinished
from logger.recording.sensor_tables import EDGE_COLUMNS, EVENT_COLUMNS
from logger.records import ClockDoubt, Edge, Fault, Fix, Frame, Key, Quiet, Record

from .conftest import CAMERA, CARD, PROJECT, RIG, contents, frame, jpeg, large_jpeg

LAST = "last, by the wall"
LONG_S = 60.0
"""What a test waits for comes at once; if it takes so long, the test has failed."""


def no_sync(handle: int) -> None:
    """For tests in which the power stays on."""


@pytest.fixture
def journal(tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes) -> Journal:
    return Journal(tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, sync=no_sync)


def test_what_was_kept_is_what_is_loaded(journal: Journal, card: RunCard, rig: Rig) -> None:
    edges = (Edge(5, "first", True, "gates", 1), Edge(9, "first", False, "gates", 2), Edge(9, LAST, True, "gates"))
    frames = [frame(number) for number in range(4)]
    for record in (
        Key(3, "go", "page", "three, two, one"),
        *edges,
        *frames,
        Fix(4, 0, 0, 0, (1, 0, 1), "measured", "v"),
    ):
        journal.keep(record)
    folder = journal.close()
    recording = load(folder)
    assert folder.name == "r7"
    assert recording.card == card
    assert recording.rig == replace(rig, camera=replace(rig.camera, calibration="camera.toml"))
    assert [(e.t_ns, e.gate, e.blocked, e.count) for e in recording.edges] == [
        (e.t_ns, e.gate, e.blocked, e.count) for e in edges
    ]
    assert recording.events == (Event(3, "go", "page", "three, two, one"),)
    assert [(f.t_ns, f.exposure_ns, f.line_ns, f.jpeg) for f in recording.frames()] == [
        (f.t_ns, f.exposure_ns, f.line_ns, f.jpeg) for f in frames
    ]
    assert recording.doubts == ()
    assert sorted(os.listdir(folder)) == [
        "camera.toml", "edges.csv", "events.csv", "frames.csv", "recording.toml", "rig.toml", "video.mjpeg"
    ]  # fmt: skip


def test_the_view_that_was_kept_when_it_was_calibrated_comes_along(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    png = cv2.imencode(".png", np.full((30, 40), 77, np.uint8))[1].tobytes()
    given = {"card": card, "rig": rig, "calibration": camera_toml, "sync": no_sync}
    with Journal(tmp_path / "seen", kept_view=png, **given) as journal:
        journal.keep(frame(0))
    picture = load(tmp_path / "seen").kept_picture()
    assert picture is not None
    assert (picture.shape, int(picture[0, 0])) == ((30, 40), 77)
    (tmp_path / "seen" / "view.png").write_bytes(b"no picture")
    assert load(tmp_path / "seen").kept_picture() is None


def test_a_frame_without_a_compressed_form_is_compressed(journal: Journal) -> None:
    journal.keep(replace(frame(3), jpeg=None))
    (kept,) = load(journal.close()).frames()
    assert abs(kept.image.astype(int) - frame(3).image).mean() < 3


def test_trouble_becomes_an_event_with_its_cure(journal: Journal) -> None:
    journal.keep(Fault(9, "gates", "no edges since\nthe plug was pulled", "plug it in", since_ns=4))
    assert load(journal.close()).events == (
        Event(9, "fault", "gates", "no edges since the plug was pulled (since 4 ns); plug it in"),
    )


def test_a_clock_s_doubt_is_kept_in_seconds(journal: Journal) -> None:
    journal.keep(ClockDoubt(9, "gates", 123_400, "24 of 60 answers"))
    assert load(journal.close()).events == (Event(9, "clock_doubt", "gates", "0.000123400 24 of 60 answers"),)


def test_of_each_source_only_the_last_quiet_before_another_record_is_kept(journal: Journal) -> None:
    for t_ns in range(0, 50, 10):
        journal.keep(Quiet(t_ns, "gates"))
        journal.keep(Quiet(t_ns + 1, "overhead"))
    journal.keep(Edge(45, "first", True, "gates"))
    journal.keep(Quiet(60, "gates"))
    events = load(journal.close()).events
    assert [(event.t_ns, event.source) for event in events] == [(40, "gates"), (41, "overhead"), (60, "gates")]


def test_what_a_camera_does_not_know_of_its_rows_and_exposure_the_rig_says(tmp_path: Path) -> None:
    assert RIG.camera is not None
    rig = replace(RIG, camera=replace(RIG.camera, line_ns=21_000, exposure_ns=4_000_000))
    with Journal(tmp_path / "run", card=CARD, rig=rig, calibration=CAMERA) as journal:
        journal.keep(replace(frame(0), exposure_ns=0, line_ns=0))
        journal.keep(replace(frame(1), exposure_ns=5_000_000, line_ns=9_000))
    stamps = load(tmp_path / "run").stamps
    assert stamps is not None
    assert (stamps.exposure_ns.tolist(), stamps.line_ns.tolist()) == ([4_000_000, 5_000_000], [21_000, 9_000])


def test_dropped_pictures_are_noted(journal: Journal) -> None:
    journal.keep(frame(0))
    journal.keep(frame(4))
    recording = load(journal.close())
    assert recording.events == (Event(frame(4).t_ns, "frames_dropped", "overhead", "3 before picture 1"),)
    assert [found.sequence for found in recording.frames()] == [0, 1]


@pytest.mark.parametrize(
    ("records", "why"),
    [
        ([Edge(5, "first", True, "g"), Edge(5, "first", True, "g")], "first blocked: this edge was sent twice"),
        ([Edge(5, "third", False, "g")], "third clear: the rig has no such gate"),
        ([Edge(-5, "first", True, "g")], "first blocked: its time is negative"),
        ([frame(0), frame(1, t_ns=1_000_000_000)], "its time is not after that of the last one, 1000000000"),
        ([frame(0, t_ns=-1)], "its time is negative"),
        ([replace(frame(0), jpeg=jpeg(0)[:700])], "its picture is not whole"),
        ([replace(frame(0), jpeg=b"")], "its picture is not whole"),
    ],
)
def test_what_no_reader_would_take_is_noted_and_the_recording_opens(
    journal: Journal, records: Sequence[Record], why: str
) -> None:
    for record in records:
        journal.keep(record)
    recording = load(journal.close())
    assert recording.events[-1].detail == why
    assert recording.events[-1].event in {"edge_refused", "frame_refused"}


def test_what_a_camera_adds_behind_its_pictures_is_left_out(journal: Journal) -> None:
    journal.keep(replace(frame(0), jpeg=jpeg(0) + b"\0\0 rubbish"))
    journal.keep(frame(1))
    assert [found.jpeg for found in load(journal.close()).frames()] == [jpeg(0), jpeg(1)]


def test_nothing_that_is_there_is_overwritten(journal: Journal, card: RunCard, rig: Rig, camera_toml: bytes) -> None:
    before = contents(journal.growing.parent)
    with pytest.raises(StoreError, match="r7: there is such a recording already; choose another name"):
        Journal(journal.folder, card=card, rig=rig, calibration=camera_toml)
    assert contents(journal.growing.parent) == before
    journal.close()
    before = contents(journal.folder.parent)
    with pytest.raises(StoreError, match="r7: there is such a recording already"):
        Journal(journal.folder, card=card, rig=rig, calibration=camera_toml)
    assert contents(journal.folder.parent) == before


def test_no_two_recordings_grow_in_one_folder_at_a_time(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    live = partial(Journal, card=card, rig=rig, calibration=camera_toml, is_live=True, sync=no_sync)
    journal, other = live(tmp_path / "r7"), tmp_path / "r8"
    with pytest.raises(
        StoreError, match=r"is recording into it; one recorder at a time is wanted; end the other one, or"
    ):
        live(other)
    assert not other.exists()
    journal.keep(Edge(5, "first", True, "gates"))
    assert len(load(journal.close()).edges) == 1
    live(other).abandon()
    with live(other.with_name("r9")):
        assert not (other.with_name("r8.unfinished") / ".reserve").exists(), (
            "tidied up after the one that was cut short"
        )
    assert (other.with_name("r8.unfinished") / "edges.csv").exists()


def test_recorders_for_whom_time_waits_may_share_a_folder(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    told = partial(Journal, card=card, rig=rig, calibration=camera_toml, sync=no_sync)
    with told(tmp_path / "a"), told(tmp_path / "b"):
        pass
    assert [load(tmp_path / name).card for name in "ab"] == [card, card]


def test_a_run_that_could_not_be_opened_later_is_refused_before_it_starts(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    with pytest.raises(ConfigError, match=r"recording\.toml: boat\.mass_g: found -3\.0, wanted a number > 0"):
        Journal(tmp_path / "a", card=replace(card, boat=Boat("x", mass_g=-3.0)), rig=rig, calibration=camera_toml)
    with pytest.raises(ConfigError, match=r"rig\.toml: name: found"):
        Journal(tmp_path / "a", card=card, rig=replace(rig, name="@rig"), calibration=camera_toml)
    with pytest.raises(ConfigError, match=r"rig\.toml: camera: found no calibration, wanted one; calibrate"):
        Journal(tmp_path / "a", card=card, rig=rig)
    assert list(tmp_path.iterdir()) == []


def test_an_exception_leaves_the_recording_unfinished(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    def run() -> None:
        with Journal(tmp_path / "r7", card=card, rig=rig, calibration=camera_toml) as journal:
            journal.keep(frame(0))
            raise RuntimeError("a bug in the loop")

    with pytest.raises(RuntimeError, match="a bug in the loop"):
        run()
    (folder,) = tmp_path.iterdir()
    assert is_unfinished(folder)
    assert len(list(load(folder).frames())) == 1


def test_closing_twice_is_harmless(journal: Journal) -> None:
    assert journal.close() == journal.close()


def test_what_was_handed_over_is_soon_synced_without_being_asked(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    """By the real calls: which file, and when it was asked to be put on the disk."""
    synced: Queue[str] = Queue()

    def sync(handle: int) -> None:
        os.fdatasync(handle)
        synced.put(Path(os.readlink(f"/proc/self/fd/{handle}")).name)

    journal = Journal(tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, sync=sync)
    before = [synced.get_nowait() for _ in range(synced.qsize())]
    assert before == ["recording.toml", "rig.toml", "camera.toml", "edges.csv", "events.csv"]
    journal.keep(Edge(5, "first", True, "gates"))
    assert synced.get(timeout=LONG_S) == "edges.csv"
    journal.keep(Key(6, "go", "page"))
    assert synced.get(timeout=LONG_S) == "events.csv"
    journal.keep(frame(0))
    assert [synced.get(timeout=LONG_S) for _ in range(2)] == ["video.mjpeg", "frames.csv"]
    assert synced.empty(), "what has not grown is not synced again"
    journal.close()


def test_the_kernel_sees_each_file_synced_after_it_was_written_and_before_it_gets_its_name(tmp_path: Path) -> None:
    """The real calls, as strace(1) sees them: nothing between us and the kernel is taken on trust."""
    if shutil.which("strace") is None:
        pytest.skip("there is no strace here")
    log = tmp_path / "calls"
    calls = "trace=openat,write,fdatasync,fsync,rename,unlink,mkdir"
    run = ["strace", "-f", "-y", "-o", str(log), "-e", calls, "-e", "signal=none"]
    script = FILL.replace("range(40)", "range(3)")
    done = subprocess.run(
        [*run, sys.executable, "-B", "-c", script, str(tmp_path / "r")],
        cwd=PROJECT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if "ptrace" in done.stderr.lower():
        pytest.skip(f"strace may not trace here: {done.stderr.strip()}")
    assert done.returncode == 0, done.stderr
    text = log.read_text()
    renamed = text.index("rename(")
    for name in ("recording.toml", "rig.toml", "camera.toml", "edges.csv", "events.csv", "video.mjpeg", "frames.csv"):
        path = f"r.unfinished/{name}>"
        last_write = max(m.start() for m in re.finditer(rf"write\(\d+<[^>]*{re.escape(path)}", text))
        last_sync = max(m.start() for m in re.finditer(rf"fdatasync\(\d+<[^>]*{re.escape(path)}", text))
        assert last_write < last_sync < renamed, name
    assert re.search(r"fsync\(\d+<[^>]*/r>\)|fsync\(\d+<[^>]*r\.unfinished>\)", text[:renamed])
    assert re.search(rf"fsync\(\d+<{re.escape(str(tmp_path))}>\)", text[renamed:]), "the new name too"


class Stuck:
    """A disk whose syncs do not come back before they are let go."""

    def __init__(self) -> None:
        self.goes_on = threading.Event()
        self.goes_on.set()

    def sync(self, handle: int) -> None:
        assert self.goes_on.wait(LONG_S)


def test_a_sync_that_takes_for_ever_holds_up_nothing_and_people_are_told_once(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    disk, now_ns = Stuck(), [0]
    journal = Journal(
        tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, is_live=True, sync=disk.sync,
        now_ns=lambda: now_ns[0],
    )  # fmt: skip
    disk.goes_on.clear()
    for number in range(2000):
        journal.keep(Edge(10**9 + number, "first", number % 2 == 0, "gates"))
    for number in range(60):
        journal.keep(frame(number))
    journal.flush()
    now_ns[0] = PROMISE_NS
    assert journal.news() == []
    assert len(load(journal.growing).edges) == 2000
    assert len(list(load(journal.growing).frames())) == 60
    now_ns[0] = PROMISE_NS + 1
    (told,) = journal.news()
    assert told == Event(
        frame(59).t_ns, "disk_slow", "recorder",
        "what was recorded 1.0 s ago is not on the disk yet; leave the power on; take a faster disk",
    )  # fmt: skip
    assert journal.news() == []
    disk.goes_on.set()
    while journal._disk.unsafe_since_ns is not None:
        pass
    assert journal.news() == []
    assert [event for event in load(journal.close()).events if event.event == "disk_slow"] == [told]


def test_when_time_can_wait_a_slow_disk_leaves_no_trace(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    now_ns = [0]
    with Journal(
        tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, sync=no_sync, now_ns=lambda: now_ns[0]
    ) as journal:
        journal.keep(Edge(5, "first", True, "gates"))
        now_ns[0] = 10 * PROMISE_NS
        assert journal.news() == []
    assert load(tmp_path / "r7").events == ()


def test_pictures_that_a_slow_disk_has_no_room_for_are_told_and_counted_and_edges_are_all_there(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    goes_on, has_begun = threading.Event(), threading.Event()

    def write(handle: int, data: memoryview) -> int:
        if os.readlink(f"/proc/self/fd/{handle}").endswith("video.mjpeg"):
            has_begun.set()
            assert goes_on.wait(LONG_S)
        return os.write(handle, data)

    journal = Journal(
        tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, is_live=True, sync=no_sync, write=write
    )
    sent = PICTURES_BYTES // len(large_jpeg()) + 7
    for number in range(sent):
        journal.keep(replace(frame(0), t_ns=10**9 + number, sequence=number, jpeg=large_jpeg()))
        journal.keep(Edge(10**9 + number, "first", number % 2 == 0, "gates"))
    assert has_begun.wait(LONG_S)
    (told,) = journal.news()
    assert (told.event, told.detail) == ("disk_slow", "pictures are left out from here on; take a faster disk")
    goes_on.set()
    journal.flush()
    journal.keep(replace(frame(0), t_ns=2 * 10**9, sequence=sent, jpeg=large_jpeg()))
    recording = load(journal.close())
    assert recording.stamps is not None
    times_ns = recording.stamps.t_ns.tolist()
    (counted,) = [event for event in recording.events if event.event == "frames_dropped"]
    assert counted == Event(
        2 * 10**9, "frames_dropped", "recorder",
        f"{sent + 1 - len(times_ns)} before picture {len(times_ns) - 1}: the disk is slow",
    )  # fmt: skip
    assert times_ns == [10**9 + n for n in range(len(times_ns) - 1)] + [2 * 10**9]
    assert 0 < len(times_ns) <= sent
    assert len(recording.edges) == sent
    assert recording.doubts == ()


def test_after_the_last_line_that_a_table_can_have_it_is_told_once_and_the_run_can_be_ended(
    tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes
) -> None:
    most = EDGE_COLUMNS.most_lines
    assert EVENT_COLUMNS.most_lines == most
    with Journal(tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, sync=no_sync) as journal:
        journal._edges_count, journal._events_count = most - 3, most - 2 * REFUSED_COUNT  # as after very many
        for number in range(3 + REFUSED_COUNT + 5):
            journal.keep(Edge(number, "first", number % 2 == 0, "gates"))
        (told,) = journal.news()
        assert told.detail.startswith(f"first blocked: more than {most} edges; so it was {REFUSED_COUNT} times")
        for number in range(REFUSED_COUNT + 5):
            journal.keep(Key(number, "note", "page", "again"))
        journal.keep(Event(10_008, "closed", "referee"))
    assert (tmp_path / "r7" / "edges.csv").read_bytes().count(b"\n") == 3 + 1
    lines = (tmp_path / "r7" / "events.csv").read_bytes().splitlines()
    assert len(lines) - 1 == 2 * REFUSED_COUNT - LAST_WORDS_COUNT + 2
    assert lines[-2:] == [b"10008,closed,referee,", b"10008,edge_refused,recorder,10005 in all"]


def test_a_disk_that_fails_is_reported(tmp_path: Path, card: RunCard, rig: Rig, camera_toml: bytes) -> None:
    def fail(handle: int) -> None:
        raise OSError(5, "Input/output error")

    with pytest.raises(StoreError, match=r"cannot be written \(Input/output error\); free some space or check"):
        Journal(tmp_path / "r7", card=card, rig=rig, calibration=camera_toml, sync=fail)
    assert list(tmp_path.iterdir()) == []


times = st.integers(0, 10**6)
gates = st.sampled_from(["first", LAST, "third"])
words = st.text(max_size=30)
PICTURES = [jpeg(number) for number in range(3)]
any_record = st.one_of(
    st.builds(Edge, times, gates, st.booleans(), words, st.none() | st.integers(0, 99)),
    st.builds(Key, times, st.sampled_from(["arm", "go", "note"]), words, words),
    st.builds(Quiet, times, words),
    st.builds(Fault, times, words, words, words, st.none() | times, st.booleans()),
    st.builds(ClockDoubt, times, words, times, words),
    st.builds(Event, times, words, words, words),
    st.builds(
        lambda t_ns, n, picture, more: Frame(t_ns, frame(0).image, n, "c", -5, 10**10, picture + more),
        times,
        st.integers(0, 99),
        st.sampled_from([*PICTURES, b"", PICTURES[0][:500]]),
        st.sampled_from([b"", b"\0xx"]),
    ),
)  # fmt: skip


@given(st.lists(any_record, max_size=25))
@settings(max_examples=30)
def test_whatever_drivers_send_a_finished_recording_opens(
    tmp_path_factory: pytest.TempPathFactory, records: list[Record | Event]
) -> None:
    folder = tmp_path_factory.mktemp("any")
    with Journal(folder / "r", card=CARD, rig=RIG, calibration=CAMERA, sync=no_sync) as journal:
        for record in records:
            journal.keep(record)
    recording = load(folder / "r")
    frames = list(recording.frames())
    assert [found.jpeg in PICTURES for found in frames] == [True] * len(frames)
    sent = {(r.t_ns, r.gate, r.blocked) for r in records if isinstance(r, Edge) and r.gate != "third"}
    assert {(edge.t_ns, edge.gate, edge.blocked) for edge in recording.edges} == sent
    shutil.rmtree(folder)


@given(st.data())
@settings(max_examples=20)
def test_any_interleaving_of_the_sources_is_the_same_recording(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    streams = [
        [Edge(t_ns, "first", n % 2 == 0, "a") for n, t_ns in enumerate((10, 20, 40, 50))],
        [Edge(t_ns, LAST, n % 2 == 0, "b") for n, t_ns in enumerate((15, 20, 21))],
        [Key(t_ns, "note", "page", str(t_ns)) for t_ns in (5, 30)],
        [replace(frame(n), t_ns=t_ns) for n, t_ns in enumerate((1, 30, 60))],
    ]
    order = data.draw(st.permutations([n for n, stream in enumerate(streams) for _ in stream]))
    turns = [iter(stream) for stream in streams]
    folder = tmp_path_factory.mktemp("order")
    with Journal(folder / "r", card=CARD, rig=RIG, calibration=CAMERA, sync=no_sync) as journal:
        for number in order:
            journal.keep(next(turns[number]))
    recording = load(folder / "r")
    found = sorted((edge.t_ns, edge.gate, edge.blocked) for edge in recording.edges)
    assert found == sorted((e.t_ns, e.gate, e.blocked) for stream in streams[:2] for e in stream)
    assert [edge.t_ns for edge in recording.edges] == sorted(edge.t_ns for edge in recording.edges)
    assert [event.t_ns for event in recording.events] == [5, 30]
    assert [found.t_ns for found in recording.frames()] == [1, 30, 60]
    shutil.rmtree(folder)


FILL = """
import sys
from dataclasses import replace
from pathlib import Path
from tests.logger.recording.conftest import CAMERA, CARD, RIG, frame, large_jpeg
from logger.recording.journal import Journal
from logger.records import Edge
big = large_jpeg()
folder = Path(sys.argv[1])
with Journal(folder, card=CARD, rig=RIG, calibration=CAMERA) as journal:
    for n in range(40):
        if n == 5 and "hog" in sys.argv:
            journal.flush()
            with (folder.parent / "hog").open("wb", buffering=0) as hog:
                try:
                    while hog.write(bytes(4096)):
                        pass
                except OSError:
                    pass
        for k in range(200):
            journal.keep(Edge(10**9 + 1000 * n + k, "first", k % 2 == 0, "gates"))
        journal.keep(replace(frame(n), jpeg=big))
"""


def status_after_filling(run: Sequence[str], folder: Path, *options: str, **how: object) -> int:
    done = subprocess.run(  # type: ignore[call-overload]
        [*run, sys.executable, "-B", "-c", FILL, str(folder), *options],
        cwd=PROJECT, capture_output=True, text=True, check=False, **how,
    )  # fmt: skip
    assert done.stderr == ""
    return int(done.returncode)


def test_when_a_file_may_not_grow_the_pictures_stop_and_the_edges_go_on(tmp_path: Path) -> None:
    def small_files_only() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (5_000_000, 5_000_000))

    assert status_after_filling([], tmp_path / "r", preexec_fn=small_files_only) == 0
    recording = load(tmp_path / "r")
    assert len(recording.edges) == 40 * 200
    (event,) = [event for event in recording.events if event.event == "video_ended"]
    assert event.detail == "before picture 10: File too large; free some space"
    assert len(list(recording.frames())) == 10
    assert any("10 whole pictures and frames.csv 40 stamps" in doubt for doubt in recording.doubts)


@pytest.fixture
def small_disk(tmp_path: Path) -> tuple[list[str], Path]:
    """How to run a program with a disk of 8 MB in the folder `small`; what it leaves is copied to `kept`."""
    place, kept = tmp_path / "small", tmp_path / "kept"
    place.mkdir()
    kept.mkdir()
    script = f'mount -t tmpfs -o size=8m none "{place}" && "$@"; status=$?; cp -r "{place}"/. "{kept}"; exit $status'
    run = ["unshare", "--map-root-user", "--mount", "sh", "-c", script, "sh"]
    if shutil.which("unshare") is None or subprocess.run([*run, "true"], capture_output=True, check=False).returncode:
        pytest.skip("no small disk can be mounted here (unshare, tmpfs)")
    return run, place


def test_when_the_disk_is_full_the_pictures_stop_and_the_edges_go_on(small_disk: tuple[list[str], Path]) -> None:
    run, place = small_disk
    assert status_after_filling(run, place / "r") == 0
    recording = load(place.parent / "kept" / "r")
    assert len(recording.edges) == 40 * 200
    told = {event.event: event.detail for event in recording.events}
    # edges that meet the full disk before the pictures have ended take their reserve, and that is told
    assert set(told) - {"disk_full"} == {"disk_low", "video_ended"}
    assert "No space left on device" in told["video_ended"]
    assert 0 < len(list(recording.frames())) < 10


def test_when_others_fill_the_disk_the_edges_have_a_reserve(small_disk: tuple[list[str], Path]) -> None:
    run, place = small_disk
    assert status_after_filling(run, place / "r", "hog") == 0
    recording = load(place.parent / "kept" / "r")
    assert len(recording.edges) == 40 * 200
    assert {event.event for event in recording.events} == {"disk_low", "disk_full", "video_ended"}
    assert len(list(recording.frames())) == 5
