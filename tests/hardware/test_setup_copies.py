"""Backup and restore by the set-up script: nothing is replaced unseen, and a bad stick is noticed."""

from __future__ import annotations

import sqlite3
import subprocess
from pathlib import Path

import pytest

from tests.hardware.setup_root import DATA, Root, Said, fresh_root

EDGES = "recordings/Paper Swan-1/edges.csv"


@pytest.fixture
def root(tmp_path: Path) -> Root:
    made = fresh_root(tmp_path / "root")
    made.write(f"{DATA}/rig.toml", 'format = "boatrun-rig/1"\n')
    made.write(f"{DATA}/{EDGES}", "t_ns,gate,level\n1,A,1\n")
    made.write(f"{DATA}/recordings/Müll-2.unfinished/events.csv", "t_ns,event\n")
    (tmp_path / "stick").mkdir()
    return made


def backup(root: Root, *words: str) -> Said:
    return root.setup("backup", root.path.parent / "stick", "--same-disk", *words)


def restore(root: Root, *words: str) -> Said:
    return root.setup("restore", root.path.parent / "stick", *words)


def stick(root: Root) -> Path:
    return root.path.parent / "stick/boatrun-pi"


def content(root: Root) -> dict[str, str]:
    """Name -> checksum of every file of the data folder."""
    return {name: was.split()[-1] for name, was in root.state().items() if name.startswith(DATA + "/")}


def test_what_was_lost_comes_back_and_common_tools_can_check_the_copy(root: Root) -> None:
    before = content(root)
    assert "3 files copied, 0 were there already" in backup(root).out
    checked = subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=stick(root), capture_output=True)
    assert checked.stdout.count(b": OK") == 3
    for name in (EDGES, "rig.toml"):
        (root / DATA / name).unlink()
    said = restore(root)
    assert (said.status, "2 files brought back, 1 were here already, 0 are here" in said.out) == (0, True)
    assert content(root) == before


def test_a_second_backup_copies_what_is_new_and_keeps_what_was_replaced(root: Root) -> None:
    backup(root)
    rig = root.write(f"{DATA}/rig.toml", 'format = "boatrun-rig/1"\nname = "moved"\n')
    root.write(f"{DATA}/recordings/run-3/edges.csv", "t_ns,gate,level\n")
    (root / DATA / EDGES).unlink()
    assert "2 files copied, 1 were there already, 1 older ones kept" in backup(root).out
    assert (stick(root) / "data/rig.toml").read_bytes() == rig.read_bytes()
    older = list((stick(root) / "older").rglob("rig.toml"))
    assert [path.read_text(encoding="utf-8") for path in older] == ['format = "boatrun-rig/1"\n']
    assert (stick(root) / "data" / EDGES).is_file(), "what is gone from the Pi stays in the backup"
    assert len((stick(root) / "SHA256SUMS").read_text(encoding="utf-8").splitlines()) == 5


def test_what_is_here_is_never_replaced(root: Root) -> None:
    backup(root)
    mine = root.write(f"{DATA}/rig.toml", "mine\n")
    said = restore(root)
    assert (said.status, "here with another content: rig.toml" in said.out) == (2, True)
    assert mine.read_text(encoding="utf-8") == "mine\n"
    assert restore(root, "--beside").status == 0
    assert mine.read_text(encoding="utf-8") == "mine\n"
    beside = root / DATA / "rig.toml.from-backup"
    assert beside.read_text(encoding="utf-8") == 'format = "boatrun-rig/1"\n'
    beside.write_text("a third\n", encoding="utf-8")
    assert "a third content" in restore(root, "--beside").out
    assert beside.read_text(encoding="utf-8") == "a third\n"


def test_a_flipped_bit_is_found_before_anything_is_brought_back(root: Root) -> None:
    backup(root)
    for path in (stick(root) / "data" / EDGES, root / DATA / "rig.toml"):
        if path.name == "rig.toml":
            path.unlink()
            continue
        data = bytearray(path.read_bytes())
        data[3] ^= 1
        path.write_bytes(data)
    said = restore(root)
    assert (said.status, "edges.csv" in said.err, "nothing was restored" in said.err) == (2, True, True)
    assert not (root / DATA / "rig.toml").exists()


def test_a_flipped_bit_is_found_by_the_next_backup(root: Root) -> None:
    backup(root)
    path = stick(root) / "data" / EDGES
    path.write_bytes(path.read_bytes().replace(b"1,A,1", b"1,A,0"))
    said = backup(root)
    assert (said.status, "do not trust this stick" in said.err, "edges.csv" in said.err) == (1, True, True)


def test_a_database_in_use_is_copied_whole(root: Root, tmp_path: Path) -> None:
    """What is written ahead of the database (SQLite: "Write-Ahead Logging") is in the copy, which is one file."""
    store = root / DATA / "trials.sqlite"
    with sqlite3.connect(store) as open_one:
        open_one.execute("PRAGMA journal_mode=WAL")
        open_one.execute("CREATE TABLE trial (id)")
        open_one.commit()
        open_one.execute("INSERT INTO trial VALUES (7)")
        open_one.commit()
        assert store.with_name("trials.sqlite-wal").stat().st_size > 0
        assert backup(root).status == 0
    open_one.close()
    copied = sqlite3.connect(stick(root) / "data/trials.sqlite")
    assert copied.execute("SELECT id FROM trial").fetchall() == [(7,)]
    copied.close()
    assert sorted(p.name for p in (stick(root) / "data").glob("trials*")) == ["trials.sqlite"]


@pytest.mark.parametrize("name", ["data/../../../etc/passwd", "data//etc/passwd", "data/a/../../b"])
def test_a_backup_that_leads_out_of_the_folder_is_refused(root: Root, name: str) -> None:
    backup(root)
    (stick(root) / "data/a").mkdir()
    outside = (stick(root) / name).resolve()
    sums = stick(root) / "SHA256SUMS"
    if not outside.exists():
        outside.parent.mkdir(parents=True, exist_ok=True)
        outside.write_text("x\n", encoding="utf-8")
    made = subprocess.run(["sha256sum", name], cwd=stick(root), capture_output=True, text=True)
    sums.write_text(made.stdout or f"{'0' * 64}  {name}\n", encoding="utf-8")
    said = restore(root)
    assert said.status == 2
    assert "leads out of the folder" in said.err or "damaged or missing" in said.err
    assert "brought back" not in said.out


def test_a_link_in_a_backup_is_refused(root: Root) -> None:
    backup(root)
    copy = stick(root) / "data/rig.toml"
    (stick(root) / "elsewhere").write_bytes(copy.read_bytes())
    copy.unlink()
    copy.symlink_to(stick(root) / "elsewhere")
    (root / DATA / "rig.toml").unlink()
    said = restore(root)
    assert (said.status, "is a link" in said.err) == (2, True)
    assert not (root / DATA / "rig.toml").exists()


def test_places_that_are_no_backup_are_refused(root: Root) -> None:
    refused = [
        (root.setup("backup", root.path.parent / "stick"), "on the same disk as the recordings"),
        (root.setup("backup", root / DATA / "recordings", "--same-disk"), "name a folder elsewhere"),
        (root.setup("backup", root.path.parent / "nowhere"), "there is no such folder"),
        (restore(root), "there is no backup in it"),
    ]
    root.write(f"{DATA}/recordings/two\nlines", "")
    refused.append((backup(root), "a line end or a backslash"))
    for said, words in refused:
        assert (said.status, words in said.err) == (2, True), said.err
    assert list((root.path.parent / "stick").iterdir()) == []


def test_a_dry_run_copies_nothing(root: Root) -> None:
    assert "would copy 3 files" in backup(root, "--dry-run").out
    assert list((root.path.parent / "stick").iterdir()) == []
    backup(root)
    (root / DATA / "rig.toml").unlink()
    assert "would bring back rig.toml" in restore(root, "--dry-run").out
    assert not (root / DATA / "rig.toml").exists()
