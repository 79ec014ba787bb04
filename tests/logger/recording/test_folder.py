"""A recording's folder: what is good opens, what is bad is refused in one line, and nothing is ever changed."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from logger.errors import ConfigError, InputError
from logger.recording.folder import load
from logger.records import Edge

from .conftest import PROJECT, contents, jpeg, write_with_camera

Breaker = Callable[[Path], object]


def test_the_smallest_recording_is_three_files(gates_only: Path) -> None:
    recording = load(gates_only)
    assert recording.card.boat.name == "Paper Swan"
    assert recording.edges[0] == Edge(5_000_000_000, "first", True, "gates")
    assert len(recording.edges) == 4
    assert (recording.view, recording.stamps, recording.video, recording.doubts) == (None, None, None, ())
    assert list(recording.frames()) == []


def test_a_recording_with_a_camera_gives_each_picture_its_own_time(with_camera: Path) -> None:
    recording = load(str(with_camera))
    assert recording.doubts == ()
    assert recording.calibration_id.startswith("camera-")
    frames = list(recording.frames())
    assert [frame.t_ns for frame in frames] == [4_800_000_000 + 33_333_333 * n for n in range(10)]
    assert [frame.sequence for frame in frames] == list(range(10))
    assert {(frame.exposure_ns, frame.line_ns) for frame in frames} == {(5_000_000, 15_000)}
    assert frames[3].jpeg == jpeg(3)
    assert frames[0].row_time_ns(10) == 4_800_000_000 + 150_000 + 2_500_000


def test_brightness_alone_and_chosen_frames_may_be_asked_for(with_camera: Path) -> None:
    recording = load(with_camera)
    assert {frame.image.shape for frame in recording.frames(grey=True)} == {(48, 64)}
    assert [frame.sequence for frame in recording.frames(wanted=[2, 5])] == [2, 5]


def write(name: str, text: str) -> Breaker:
    return lambda folder: (folder / name).write_text(text, encoding="utf-8")


def replace(name: str, old: str, new: str) -> Breaker:
    def breaker(folder: Path) -> None:
        text = (folder / name).read_text(encoding="utf-8")
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")

    return breaker


def remove(*names: str) -> Breaker:
    return lambda folder: [(folder / name).unlink() for name in names]


def video(*pictures: bytes) -> Breaker:
    return lambda folder: (folder / "video.mjpeg").write_bytes(b"".join(pictures))


def other_size(folder: Path) -> None:
    data = cv2.imencode(".jpg", np.full((60, 80, 3), 90, np.uint8))[1].tobytes()
    (folder / "video.mjpeg").write_bytes(data * 10)


def odd_in_the_middle(folder: Path) -> None:
    odd = cv2.imencode(".jpg", np.full((60, 80, 3), 90, np.uint8))[1].tobytes()
    video(*JPEGS[:6], odd, *JPEGS[7:])(folder)


def hollow_video(folder: Path) -> None:
    (folder / "video.mjpeg").unlink()
    writer = cv2.VideoWriter(str(folder / "video.mp4"), cv2.VideoWriter.fourcc(*"mp4v"), 30, (64, 48))
    for _ in range(60):
        writer.write(np.full((48, 64, 3), 90, np.uint8))
    writer.release()
    (folder / "video.mp4").write_bytes((folder / "video.mp4").read_bytes()[:1500])


JPEGS = [jpeg(n) for n in range(10)]
BAD: dict[str, tuple[Breaker, str]] = {
    "no folder": (shutil.rmtree, r"run-1: there is no such recording; give the path of a recording's folder"),
    "a file": (lambda f: (shutil.rmtree(f), f.write_text("x")), r"run-1: this is a file; give the path of"),
    "another folder": (remove("recording.toml"), r"run-1: there is no recording\.toml in it; give the path of"),
    "no rig": (remove("rig.toml"), r"rig\.toml: there is no such file; put it there"),
    "video gone": (remove("video.mjpeg"), r"there is frames\.csv but no video; put back the video, or take"),
    "stamps gone": (remove("frames.csv"), r"there is video\.mjpeg but no frames\.csv; put back the time stamps"),
    "nothing to measure": (
        remove("video.mjpeg", "frames.csv", "edges.csv"),
        r"there is neither a video nor edges\.csv; nothing to measure",
    ),
    "empty video": (video(), r"video\.mjpeg: the video is empty; put the whole video there"),
    "half a video": (
        video(*JPEGS[:5], JPEGS[5][:600]),
        r"found 5 whole pictures, but 10 stamps in frames\.csv; one stamp",
    ),
    "video without its end": (hollow_video, r"video\.mp4: no pictures can be read from it; it is no video, or its end"),
    "text as video": (video(b"I am a boat\n" * 99), r"video\.mjpeg: no pictures can be read from it"),
    "video too long": (
        video(*JPEGS, *JPEGS),
        r"found 20 whole pictures, but 10 stamps in frames\.csv; one stamp for each",
    ),
    "damage inside, one picture missing": (
        video(*JPEGS[:4], bytes(300), JPEGS[4][300:], *JPEGS[5:]),
        r"damaged at picture 3; it has 9 pictures for 10 stamps in frames\.csv, and nothing says which one is missing",
    ),
    "no picture whole": (
        video(*[data[:640] + bytes(80) + data[720:] for data in JPEGS]),
        r"none of its pictures can be decoded",
    ),
    "two videos": (write("video.txt", "x"), r"found video\.mjpeg, video\.txt; one video is wanted; move the others"),
    "stamps go back": (
        replace("frames.csv", "3,4899999999", "3,4800000000"),
        r"frames\.csv line 5: t_ns is \"4800000000\"",
    ),
    "stamps repeat": (replace("frames.csv", "1,4833333333", "1,4800000000"), r"frames\.csv line 3: t_ns is"),
    "stamps are seconds": (replace("frames.csv", "4833333333", "4.8333"), r"times in nanoseconds; no decimals"),
    "stamps empty": (write("frames.csv", ""), r"frames\.csv: the file is empty; wanted the header frame,t_ns"),
    "stamps of another clock": (
        write("frames.csv", "frame,t_ns\n" + "".join(f"{n},{10**15 + 33_333_333 * n}\n" for n in range(10))),
        r"the times in edges\.csv and in frames\.csv lie 999989 s apart; one clock for all files is wanted; put back",
    ),
    "edges out of order": (
        replace("edges.csv", "5620000000,first,0\n10000000000,last,1", "10000000000,last,1\n5620000000,first,0"),
        r"edges\.csv line 4: t_ns is \"5620000000\"; wanted at least 10000000000",
    ),
    "edges doubled": (
        replace("edges.csv", "5000000000,first,1\n", "5000000000,first,1\n" * 2),
        r"edges\.csv line 3: t_ns is \"5000000000\"; wanted each edge once; first has this edge already",
    ),
    "unknown gate": (
        replace("edges.csv", "last,1", "lst,1"),
        r"edges\.csv line 4: gate is \"lst\"; wanted the name of a gate in rig\.toml",
    ),
    "level is a word": (replace("edges.csv", "first,1", "first,high"), r"edges\.csv line 2: level is \"high\"; wanted"),
    "edge without a time": (
        replace("edges.csv", "5000000000,first", "NaN,first"),
        r"line 2: t_ns is \"NaN\"; wanted a whole",
    ),
    "semicolons": (write("edges.csv", "t_ns;gate;level\n5;first;1\n"), r"put commas between the columns"),
    "not UTF-8": (
        lambda f: (f / "events.csv").write_bytes(b"t_ns,event,detail\n5,note,b\xf6ig\n"),
        r"events\.csv line 2: not UTF-8",
    ),
    "rig without calibration": (
        replace("rig.toml", 'calibration = "camera.toml"\n', ""),
        r"rig\.toml: camera\.calibration: missing, wanted text",
    ),
    "camera table misspelt": (replace("rig.toml", "[camera]\ncalibration", "[unused]\n#"), r"unused: unknown name"),
    "stamp that no clock gives": (
        replace("edges.csv", "5000000000,first", "99999999999999999999,first"),
        r"line 2: t_ns is \"99999999999999999999\"; wanted a whole number, 0 or more and at most 9223372036854775807",
    ),
    "rig without camera": (
        lambda f: (f / "rig.toml").write_text((f / "rig.toml").read_text().split("[camera]")[0]),
        r"rig\.toml: there is a video but no \[camera\] with its calibration; calibrate the camera and enter it",
    ),
    "calibration gone": (
        remove("camera.toml"),
        r"camera\.toml: the camera's calibration named in rig\.toml is not there",
    ),
    "calibration of another size": (
        other_size,
        r"picture 0 is 80 x 60 pixels, the calibration is for 64 x 48; use the calibration of this picture size",
    ),
    "broken calibration": (replace("camera.toml", "fx_px = 50", 'fx_px = "50"'), r"camera\.toml: .*fx_px"),
    "NaN in the calibration": (replace("camera.toml", "fx_px = 50", "fx_px = nan"), r"camera\.toml: .*fx_px"),
    "NaN in the rig": (
        replace("rig.toml", "x_mm = 1500", "x_mm = nan"),
        r"rig\.toml: lines\[2\]\.x_mm: found nan, wanted a num",
    ),
    "negative mass": (
        replace("recording.toml", 'name = "Paper Swan"', 'name = "Paper Swan"\nmass_g = -40'),
        r"recording\.toml: boat\.mass_g: found -40, wanted a number > 0",
    ),
    "decimal comma": (
        replace("rig.toml", "u_gate_distance_mm = 1.2", "u_gate_distance_mm = 1,2"),
        r"line 4: .*write decimals with a point",
    ),
    "newer format": (
        replace("recording.toml", "recording/1", "recording/2"),
        r"format: found \"boatrun-recording/2\", wanted",
    ),
    "newer rig format": (replace("rig.toml", "rig/1", "rig/7"), r"format: found \"boatrun-rig/7\", wanted"),
    "half a settings file": (
        lambda f: (f / "rig.toml").write_bytes((f / "rig.toml").read_bytes()[:50]),
        r"rig\.toml: ",
    ),
    "a folder as a table": (
        lambda f: ((f / "edges.csv").unlink(), (f / "edges.csv").mkdir()),
        r"edges\.csv: this is no file",
    ),
    "a settings file far too large": (
        lambda f: (f / "rig.toml").write_bytes(b"#" * 2_000_000),
        r"rig\.toml: larger than",
    ),
    "a line far too long": (
        write("edges.csv", "t_ns,gate,level\n" + "9" * 10_000),
        r"edges\.csv line 2: longer than 5000",
    ),
}


@pytest.mark.parametrize("what", BAD)
def test_bad_input_is_refused_in_one_line_and_nothing_is_changed(with_camera: Path, what: str) -> None:
    breaker, message = BAD[what]
    breaker(with_camera)
    before = contents(with_camera.parent)
    with pytest.raises(InputError, match=message) as caught:
        load(with_camera)
    assert str(caught.value).startswith(str(with_camera))
    assert str(caught.value).isprintable()
    assert contents(with_camera.parent) == before


def test_more_edges_than_a_recording_holds_are_refused(gates_only: Path) -> None:
    with (gates_only / "edges.csv").open("w") as file:
        file.write("t_ns,gate,level\n")
        file.writelines(f"{n},first,{n % 2}\n" for n in range(1_000_002))
    with pytest.raises(InputError, match=r"edges\.csv: more than 1000000 lines; split the recording into single runs"):
        load(gates_only)


def test_mistakes_of_a_settings_file_come_all_at_once(with_camera: Path) -> None:
    replace("rig.toml", 'role = "start"', 'role = "begin"')(with_camera)
    replace("rig.toml", 'line = "finish"', 'line = "end"\nu_offset_mm = -1')(with_camera)
    with pytest.raises(ConfigError, match="begin") as caught:
        load(with_camera)
    assert len(caught.value.mistakes) == 2


DOUBTFUL: dict[str, tuple[Breaker, str]] = {
    "torn line of stamps": (
        lambda f: (f / "frames.csv").write_bytes((f / "frames.csv").read_bytes()[:-4]),
        "frames.csv: the last line (line 11) has no line break at its end and was left out",
    ),
    "torn line of edges": (
        lambda f: (f / "edges.csv").write_bytes((f / "edges.csv").read_bytes()[:-4]),
        "edges.csv: the last line (line 5) has no line break at its end and was left out",
    ),
    "last picture torn": (
        video(*JPEGS[:9], JPEGS[9][:700]),
        "video.mjpeg has 9 whole pictures and frames.csv 10 stamps; only what both have is used",
    ),
    "one picture more": (
        video(*JPEGS, JPEGS[0]),
        "video.mjpeg has 11 whole pictures and frames.csv 10 stamps; only what both have is used",
    ),
    "one picture damaged": (
        video(*JPEGS[:4], JPEGS[4][:640] + bytes(80) + JPEGS[4][720:], *JPEGS[5:]),
        "video.mjpeg: 1 of 10 pictures are damaged and left out (first: 4)",
    ),
    "no edges": (remove("edges.csv"), "the rig has gates, but there is no edges.csv: used without them"),
    "no video": (remove("video.mjpeg", "frames.csv"), "the rig has a camera, but there is no video: used without it"),
}


@pytest.mark.parametrize("what", DOUBTFUL)
def test_what_can_be_lived_with_becomes_a_doubt(with_camera: Path, what: str) -> None:
    breaker, doubt = DOUBTFUL[what]
    breaker(with_camera)
    before = contents(with_camera)
    recording = load(with_camera)
    assert any(told.startswith(doubt) for told in recording.doubts)
    stamps = [] if recording.stamps is None else recording.stamps.t_ns.tolist()
    frames = list(recording.frames())
    assert len(frames) == len(stamps) - len(recording.damaged)
    assert all(frame.t_ns == stamps[frame.sequence] for frame in frames)
    assert contents(with_camera) == before


def test_windows_line_ends_and_byte_order_marks_change_nothing(with_camera: Path) -> None:
    plain = load(with_camera)
    for name in ("recording.toml", "rig.toml", "frames.csv", "edges.csv", "events.csv"):
        data = (with_camera / name).read_bytes()
        (with_camera / name).write_bytes(b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n"))
    again = load(with_camera)
    assert (again.card, again.rig, again.edges, again.events) == (plain.card, plain.rig, plain.edges, plain.events)
    assert again.doubts == ()


def test_a_picture_of_another_size_in_the_middle_is_refused_when_it_comes(with_camera: Path) -> None:
    odd_in_the_middle(with_camera)
    recording = load(with_camera)
    with pytest.raises(InputError, match="picture 6 is 80 x 60 pixels"):
        list(recording.frames())


def test_a_codec_that_does_not_say_which_picture_broke_must_decode_to_its_end(with_camera: Path) -> None:
    (with_camera / "video.mjpeg").unlink()
    path = with_camera / "video.mp4"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), 30, (64, 48))
    rng = np.random.default_rng(3)
    for _ in range(10):
        writer.write(rng.integers(0, 255, (48, 64, 3), np.uint8))
    writer.release()
    assert len(list(load(with_camera).frames())) == 10
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2] + b"Z" * 600 + data[len(data) // 2 + 600 :])
    with pytest.raises(InputError, match=r"video\.mp4: only \d of 10 pictures can be decoded, and nothing says which"):
        list(load(with_camera).frames())
    with pytest.raises(InputError, match=r"video\.mp4: only \d of 10 pictures can be decoded, and nothing says which"):
        list(load(with_camera).frames(wanted=[0, 9]))


def test_the_command_says_one_line_for_each_bad_recording_and_nothing_else(tmp_path: Path) -> None:
    """Decoders and libraries have words of their own for broken files; none of them may reach the person."""
    breakers = [*(breaker for breaker, _ in BAD.values()), odd_in_the_middle]
    for number, breaker in enumerate(breakers):
        folder = write_with_camera(tmp_path / f"{number:02}" / "run-1")
        breaker(folder)
    before = contents(tmp_path)
    folders = [tmp_path / f"{number:02}" / "run-1" for number in range(len(breakers))]
    done = subprocess.run(
        [sys.executable, "-B", "-m", "logger", "measure", *map(str, folders)],
        cwd=PROJECT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert [line.split(": ")[0] for line in lines] == ["boatrun measure"] * len(breakers)
    assert all(str(folder) in line for folder, line in zip(folders, lines, strict=True))
    assert contents(tmp_path) == before
