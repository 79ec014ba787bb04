"""The same run told record by record, on any clock."""

from __future__ import annotations

from pathlib import Path

from logger.simulator import SimulatedTank

SHORT = {"tank_length_mm": 900.0, "length_mm": 100.0, "speed_mm_per_s": 400.0}


def test_the_live_tank_tells_the_recordings_own_bytes_and_stamps(tmp_path: Path) -> None:
    tank = SimulatedTank(seed=5, frame_rate_hz=5.0, **SHORT)
    tank.write(tmp_path / "run")
    frames = list(tank.frames())
    assert b"".join(frame.jpeg or b"" for frame in frames) == (tmp_path / "run" / "video.mjpeg").read_bytes()
    stamps = [int(row.split(",")[1]) for row in (tmp_path / "run" / "frames.csv").read_text().splitlines()[1:]]
    assert [frame.t_ns for frame in frames] == stamps


def test_the_live_tank_can_be_moved_to_any_time() -> None:
    asked = {"seed": 5, "frame_rate_hz": 5.0, **SHORT}
    there, here = SimulatedTank(**asked), SimulatedTank(begins_ns=7_000_000_000, **asked)  # type: ignore[arg-type]
    late_ns = there.begins_ns - 7_000_000_000
    assert [e.t_ns - late_ns for e in there.edges()] == [e.t_ns for e in here.edges()]
    assert [k.t_ns - late_ns for k in there.pressed()] == [k.t_ns for k in here.pressed()]
