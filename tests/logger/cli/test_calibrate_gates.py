from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pytest

from logger.cli import main
from logger.recording.rig_toml import read_rig
from logger.simulator import simulate_run

from .conftest import Maker

SEED = 1003
"""Of the recording with pictures that conftest makes."""


def said_by(capsys: pytest.CaptureFixture[str], *words: str | Path, status: int = 0) -> str:
    assert main(["calibrate", "gates", *map(str, words)]) == status
    shown = capsys.readouterr()
    return shown.out if status == 0 else shown.err


@pytest.fixture
def rig(filmed: Path) -> Path:
    """A rig file of its own beside the recordings, in which the gates were never measured."""
    path = Path(shutil.copy(filmed / "rig.toml", filmed.parent / "rig.toml"))
    text = re.sub(r"^offset_mm = .*$", "offset_mm = 25.0", path.read_text(), flags=re.MULTILINE)
    path.write_text(re.sub(r"^u_offset_mm = .*$", "u_offset_mm = 30.0", text, flags=re.MULTILINE))
    return path


def test_a_pull_with_pictures_finds_the_beams_and_enters_them(
    filmed: Path, rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = rig.read_text()
    said = said_by(capsys, filmed, "--rig", rig, "--write")
    # truth: the simulator's own rig without any error of tape or ruler
    true = {g.name: g.offset_mm for g in simulate_run(kind="straight", seed=SEED, rig_errors=False).rig.gates}
    for gate in read_rig(rig).gates:
        assert abs(gate.offset_mm - true[gate.name]) < 2.5 * gate.u_offset_mm < 10.0
    assert "from beam to beam" in said
    assert "they agree" in said
    assert "fewer than 3 passages" in said
    (older,) = rig.parent.glob("rig-before-*.toml")
    assert older.read_text() == before
    (folder,) = (rig.parent / "gates").iterdir()
    kept = tomllib.loads((folder / "gates.toml").read_text())
    assert kept["format"] == "boatrun-gates/1"
    assert len(kept["passages"]) == 2
    assert kept["simulated"] is True
    assert f"# gates/{folder.name}" in rig.read_text()
    assert (folder / "gates.svg").read_text().startswith("<svg")


def test_without_being_told_to_nothing_is_entered(filmed: Path, rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = rig.read_text()
    said = said_by(capsys, filmed, "--rig", rig, "--to", rig.parent / "here")
    assert "not entered; --write would set" in said
    assert rig.read_text() == before
    assert len(list((rig.parent / "here").iterdir())) == 1


def test_swapped_gates_are_told_and_nothing_is_kept(filmed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    edges = filmed / "edges.csv"
    first, last = (g.name for g in read_rig(filmed / "rig.toml").gates)
    swapped = edges.read_text().replace(first, "?").replace(last, first).replace("?", last)
    edges.write_text(swapped)
    said = said_by(capsys, filmed, status=2)
    assert "the gates are swapped: exchange their pins or numbers in [gates_driver]" in said
    assert not (filmed.parent / "gates").exists()


def test_a_line_along_the_run_is_refused_before_any_picture_is_looked_at(
    filmed: Path, rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = re.sub(r"a_mm = \[[^\]]*\]", "a_mm = [-300.0, 1.0]", rig.read_text(), count=1)
    rig.write_text(re.sub(r"b_mm = \[[^\]]*\]", "b_mm = [300.0, 1.0]", text, count=1))
    said = said_by(capsys, filmed, "--rig", rig, status=2)
    assert "it runs along the direction of travel; it must lie across it" in said


def test_a_rig_without_gates_is_refused(filmed: Path, rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig.write_text(re.sub(r"\[\[gates\]\]\n(?:[a-z_]+ = .*\n)+", "", rig.read_text()))
    assert "there are no [[gates]]" in said_by(capsys, filmed, "--rig", rig, status=2)


def test_gates_of_other_names_are_of_another_rig(filmed: Path, rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig.write_text(rig.read_text().replace('name = "start-gate"', 'name = "red"'))
    assert "its gates are not those of" in said_by(capsys, filmed, "--rig", rig, status=2)


def test_a_recording_without_pictures_says_so(gates_only: Maker, capsys: pytest.CaptureFixture[str]) -> None:
    assert "there are no pictures in it" in said_by(capsys, gates_only(), status=2)


def test_the_same_pull_counts_once(gates_only: Maker, capsys: pytest.CaptureFixture[str]) -> None:
    folder = gates_only()
    assert "one pull counts once" in said_by(capsys, folder, folder, status=2)


def test_a_copy_of_a_pull_counts_once_too(filmed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = shutil.copytree(filmed, filmed.parent / "copy")
    assert "are they copies of one?" in said_by(capsys, filmed, copy, status=2)


def test_writing_needs_a_file_to_write_into(filmed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "--write needs the rig file to write into" in said_by(capsys, filmed, "--write", status=2)
