from __future__ import annotations

from pathlib import Path

import pytest

from logger.checkup import plug
from logger.checkup.gate_trials import Judged
from logger.errors import InputError
from logger.recording.folder import load
from logger.recording.recovery import ENDING
from logger.simulator.scene import draw
from logger.simulator.wishes import wishes
from logger.simulator.write import write

S_NS = 1_000_000_000
OLD, NEW = "boot-1", "boot-2"


class Bench:
    """A folder with an earlier recording and one that was cut short, and the signs of life of the latter."""

    def __init__(self, folder: Path) -> None:
        self.recordings, self.folder = folder / "recordings", folder / "acceptance"
        self.folder.mkdir()
        for name in ("run-1", "pulled-plug-1" + ENDING):
            write(draw(tier="easy", kind="straight", seed=1000, asked=wishes({})), self.recordings / name, video=False)
        self.cut = self.recordings / ("pulled-plug-1" + ENDING)
        self.edges = len(load(self.cut).edges)
        before = plug.checksums(self.recordings)
        self.begun = plug.Begun(str(self.recordings / "pulled-plug-1"), OLD, "2026-11-26T10:00:00+00:00", before)
        plug.begin(self.folder, self.begun)

    def signs(self, *edges_counts: int, every_s: float = 0.5) -> None:
        giver = plug.Signs(self.folder)
        for number, count in enumerate(edges_counts):
            giver.give(plug.Sign(round(number * every_s * 1e9), count, 0))
        giver.close()

    def judged(self, boot: str = NEW) -> Judged | str:
        begun = plug.begun_in(self.folder)
        assert begun is not None
        return plug.judged(self.folder, begun, boot=boot, has_camera=False, has_gates=True)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def passed(judged: Judged | str) -> bool:
    assert isinstance(judged, Judged), judged
    return judged.passed


def test_what_was_there_a_second_before_is_kept(bench: Bench) -> None:
    bench.signs(0, bench.edges, bench.edges, bench.edges, bench.edges + 2)
    judged = bench.judged()
    assert passed(judged), judged
    assert isinstance(judged, Judged)
    assert judged.found[0].startswith(
        f"{bench.edges} of {bench.edges + 2} edges that had come by the last sign of life"
    )
    assert any(sentence.startswith("1 earlier recording: whole") for sentence in judged.found)


def test_an_edge_that_had_come_more_than_a_second_before_and_is_gone_fails(bench: Bench) -> None:
    bench.signs(0, bench.edges + 1, bench.edges + 1, bench.edges + 1, bench.edges + 1)
    judged = bench.judged()
    assert not passed(judged)
    assert isinstance(judged, Judged)
    assert "memory card" in judged.cure


def test_the_same_start_of_the_computer_is_no_pulled_plug(bench: Bench) -> None:
    bench.signs(0, 1, 2, 3)
    assert "was not switched off" in str(bench.judged(boot=OLD))
    assert "before the recording gave a sign of life" in str(Bench.judged(bench_without_signs(bench)))


def bench_without_signs(bench: Bench) -> Bench:
    (bench.folder / plug.SIGNS).unlink()
    return bench


def test_less_than_a_second_of_recording_or_no_edge_proves_nothing(bench: Bench) -> None:
    bench.signs(bench.edges, bench.edges)
    assert not passed(bench.judged())
    plug.begin(bench.folder, bench.begun)
    bench.signs(0, 0, 0, 0, 0)
    judged = bench.judged()
    assert not passed(judged)
    assert isinstance(judged, Judged)
    assert "no beam was broken more than 1 s before" in judged.found


def test_an_earlier_recording_that_has_changed_or_gone_fails(bench: Bench) -> None:
    bench.signs(0, bench.edges, bench.edges, bench.edges)
    edges = bench.recordings / "run-1" / "edges.csv"
    whole = edges.read_bytes()
    for changed in (whole[:-3] + b"9\n", None):
        if changed is None:
            edges.unlink()
        else:
            edges.write_bytes(changed)
        judged = bench.judged()
        assert not passed(judged)
        assert isinstance(judged, Judged)
        assert any("changed or gone: run-1/edges.csv" in sentence for sentence in judged.found)


def test_a_recording_that_cannot_be_opened_fails(bench: Bench) -> None:
    bench.signs(0, 1, 2, 3)
    (bench.cut / "recording.toml").write_bytes(b"\0" * 40)
    judged = bench.judged()
    assert not passed(judged)
    assert isinstance(judged, Judged)
    assert judged.found[0].startswith("the recording cannot be opened")


def test_a_recording_that_had_ended_before_fails(bench: Bench) -> None:
    bench.signs(0, bench.edges, bench.edges, bench.edges)
    bench.cut.rename(bench.recordings / "pulled-plug-1")
    judged = bench.judged()
    assert not passed(judged)
    assert isinstance(judged, Judged)
    assert "the recording had ended before the power went" in judged.found


def test_a_sign_that_was_cut_short_is_left_out(bench: Bench) -> None:
    bench.signs(1, 2)
    with (bench.folder / plug.SIGNS).open("a") as file:
        file.write("150000")
    assert [sign.edges_count for sign in plug.signs_in(bench.folder)] == [1, 2]


def test_once_judged_it_is_set_aside_and_nothing_is_deleted(bench: Bench) -> None:
    bench.signs(1)
    plug.over(bench.folder)
    assert plug.begun_in(bench.folder) is None
    assert {path.name for path in bench.folder.iterdir()} == {"plug-1.json", "signs-1.txt"}
    plug.begin(bench.folder, bench.begun)
    plug.over(bench.folder)
    assert (bench.folder / "plug-2.json").exists()


def test_a_torn_note_is_told(bench: Bench) -> None:
    (bench.folder / plug.BEGUN).write_text("{")
    with pytest.raises(InputError, match=r"plug.json: cannot be read"):
        plug.begun_in(bench.folder)


def test_the_kernels_boot_id_is_read_where_there_is_one(tmp_path: Path) -> None:
    assert plug.boot_id(tmp_path) == ""
    where = tmp_path / "proc/sys/kernel/random"
    where.mkdir(parents=True)
    (where / "boot_id").write_text("6fd5a-1\n")
    assert plug.boot_id(tmp_path) == "6fd5a-1"
