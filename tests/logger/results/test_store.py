"""The store keeps everything, says so when it cannot, and loses nothing when it is killed."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from calibration.quantity import Quantity
from logger.config import Boat
from logger.errors import InputError, StoreError
from logger.results.store import BUSY_S, SCHEMA_VERSION, Correction, Store, backup
from logger.results.trial import Crossing, NotMeasured, Result, Trial

NOON = "2026-05-04T12:00:00+02:00"
GULL = Boat(name="Gull", team="Harbour")


def a_trial(run: str = "run-1", time_s: float = 2.5, flags: tuple[str, ...] = ()) -> Trial:
    return Trial(
        run_id=run,
        kind="straight",
        status="valid",
        crossings=(Crossing("start", 1_000_000_000, 1e-4, "gate"), Crossing("finish", 3_500_000_000, 1e-4, "gate")),
        results={"time_s": Result(Quantity.of(time_s, "s", u=0.003, source="gate stamps"), "gate")},
        not_measured={"drift_mm": NotMeasured("a straight run has no drift")},
        flags=flags,
        end_reason="finish",
    )


def the_word_of(run: str, change: str, **more: str) -> Correction:
    return Correction(run, change, more.pop("reason", "the straw touched it"), "teacher", NOON, **more)  # type: ignore[arg-type]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "trials.sqlite") as opened:
        yield opened


def test_what_is_added_comes_back_as_it_was(store: Store, tmp_path: Path) -> None:
    trial = a_trial(flags=("one gate was slow",))
    store.add(trial, tmp_path / "run-1", boat=GULL, at=NOON)
    (kept,) = store.runs()
    assert kept.trial == trial
    assert (kept.boat, kept.team, kept.folder, kept.added_at) == ("Gull", "Harbour", tmp_path / "run-1", NOON)
    assert (kept.status, kept.corrections, kept.superseded_count) == ("valid", (), 0)


def test_it_is_all_there_after_closing_and_opening(tmp_path: Path) -> None:
    path = tmp_path / "trials.sqlite"
    for number in range(3):
        with Store(path) as store:
            store.add(a_trial(f"run-{number}"), tmp_path)
    with Store(path, read_only=True) as store:
        assert [kept.trial.run_id for kept in store.runs()] == ["run-0", "run-1", "run-2"]


def test_measuring_again_supersedes_and_keeps_the_older_one(store: Store, tmp_path: Path) -> None:
    store.add(a_trial("run-1", 2.5), tmp_path)
    store.add(a_trial("run-2", 4.0), tmp_path)
    store.add(a_trial("run-1", 2.6), tmp_path)
    first, second = store.runs()
    assert (first.trial.run_id, first.trial.results["time_s"].quantity.value, first.superseded_count) == (
        "run-1",
        2.6,
        1,
    )
    assert second.superseded_count == 0
    assert [trial.results["time_s"].quantity.value for trial in store.history("run-1")] == [2.5, 2.6]


def test_corrections_are_added_and_the_last_one_counts(store: Store, tmp_path: Path) -> None:
    store.add(a_trial(), tmp_path, boat=GULL)
    store.correct(the_word_of("run-1", "void"))
    assert store.runs()[0].status == "void"
    store.correct(the_word_of("run-1", "freed", reason="it was the wind after all"))
    store.correct(the_word_of("run-1", "reassigned", reason="wrong card", boat="Tern", team="Quay"))
    (kept,) = store.runs()
    assert (kept.status, kept.boat, kept.team) == ("freed", "Tern", "Quay")
    assert [correction.change for correction in kept.corrections] == ["void", "freed", "reassigned"]
    assert kept.corrections[1].reason == "it was the wind after all"
    assert kept.trial.status == "valid", "the measured trial itself stays as it was"


def test_a_correction_outlives_measuring_again(store: Store, tmp_path: Path) -> None:
    store.add(a_trial(), tmp_path)
    store.correct(the_word_of("run-1", "void"))
    store.add(a_trial(time_s=2.51), tmp_path)
    assert store.runs()[0].status == "void"


@pytest.mark.parametrize("sql", ["DELETE FROM trials", "UPDATE trials SET boat = 'Tern'", "DELETE FROM corrections"])
def test_the_file_itself_refuses_to_change_or_delete(store: Store, tmp_path: Path, sql: str) -> None:
    store.add(a_trial(), tmp_path)
    store.correct(the_word_of("run-1", "void"))
    base = sqlite3.connect(store.path)
    with pytest.raises(sqlite3.IntegrityError, match="only grows"):
        base.execute(sql)
    base.close()
    assert store.runs()[0].status == "void"


def test_every_commit_waits_for_the_disk(store: Store) -> None:
    assert store._base.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert store._base.execute("PRAGMA synchronous").fetchone() == (2,), "2 is FULL in the SQLite manual"


@pytest.mark.parametrize("start", "=+-@")
def test_names_that_a_spreadsheet_would_run_are_refused(store: Store, tmp_path: Path, start: str) -> None:
    with pytest.raises(InputError, match=r"boat: found .*does not begin with = \+ - @"):
        store.add(a_trial(), tmp_path, boat=Boat(name=f"{start}cmd"))
    with pytest.raises(InputError, match="run: found"):
        store.add(a_trial(run=f"{start}1"), tmp_path)
    store.add(a_trial(), tmp_path)
    with pytest.raises(InputError, match="team: found"):
        store.correct(the_word_of("run-1", "reassigned", boat="Tern", team=f"{start}x"))
    assert store.runs()[0].corrections == ()


@pytest.mark.parametrize(
    ("word", "message"),
    [
        (the_word_of("run-9", "void"), "no run 'run-9'"),
        (the_word_of("run-1", "void", reason=" "), "without a reason"),
        (the_word_of("run-1", "lost"), "change 'lost'; wanted one of valid, void"),
        (the_word_of("run-1", "reassigned"), "reassigned to nobody"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused(
    store: Store, tmp_path: Path, word: Correction, message: str
) -> None:
    store.add(a_trial(), tmp_path)
    with pytest.raises(InputError, match=message):
        store.correct(word)


# --- files that are not right ---


def test_a_store_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "trials.sqlite"
    Store(path).close()
    base = sqlite3.connect(path)
    base.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    base.close()
    before = path.read_bytes()
    for read_only in (False, True):
        with pytest.raises(StoreError, match="newer version"):
            Store(path, read_only=read_only)
    assert path.read_bytes() == before


def test_a_database_of_something_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "birds.sqlite"
    base = sqlite3.connect(path)
    base.execute("CREATE TABLE birds (name)")
    base.close()
    with pytest.raises(StoreError, match="database of something else"):
        Store(path)
    with pytest.raises(StoreError, match="no store of trials"):
        Store(path, read_only=True)
    base = sqlite3.connect(path)
    assert base.execute("SELECT name FROM sqlite_master").fetchall() == [("birds",)]
    base.close()


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    path = tmp_path / "trials.sqlite"
    path.write_bytes(b"run,time\n1,2.5\n" * 100)
    with pytest.raises(StoreError, match="damaged or is no store"):
        Store(path)


def test_a_damaged_page_is_reported_and_not_read_as_results(tmp_path: Path) -> None:
    path = tmp_path / "trials.sqlite"
    with Store(path) as store:
        for number in range(60):
            store.add(a_trial(f"run-{number}"), tmp_path)
    data = bytearray(path.read_bytes())
    for page in range(4096 * 4, len(data), 4096):
        data[page : page + 4096] = b"\xa5" * 4096
    path.write_bytes(data)
    with Store(path) as store, pytest.raises(StoreError, match="damaged"):
        store.runs()


def test_a_trial_that_cannot_be_understood_is_named_by_its_number(store: Store, tmp_path: Path) -> None:
    store.add(a_trial(), tmp_path)
    store._base.execute(
        "INSERT INTO trials (run, boat, team, folder, added_at, trial) VALUES ('run-2', '', '', '', '', '{}')"
    )
    with pytest.raises(InputError, match="trial 2: format"):
        store.runs()


def test_a_missing_store_is_not_made_by_reading(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no such store"):
        Store(tmp_path / "trials.sqlite", read_only=True)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_does_not_exist_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="check that the folder exists"):
        Store(tmp_path / "nowhere" / "trials.sqlite")


def test_reading_only_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "trials.sqlite"
    with Store(path) as store:
        store.add(a_trial(), tmp_path)
    with Store(path, read_only=True) as store:
        with pytest.raises(StoreError, match="cannot be written"):
            store.add(a_trial("run-2"), tmp_path)
        assert len(store.runs()) == 1


def test_a_store_that_another_program_holds_says_so(store: Store, tmp_path: Path) -> None:
    store._base.execute("PRAGMA busy_timeout = 20")
    assert BUSY_S >= 1, "a store in use is waited for, in real life for longer than here"
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="another program is using it"):
        store.add(a_trial(), tmp_path)
    other.execute("COMMIT")
    other.close()
    store.add(a_trial(), tmp_path)
    assert len(store.runs()) == 1


def test_a_reader_sees_whole_trials_while_another_writes(store: Store, tmp_path: Path) -> None:
    store.add(a_trial("run-1"), tmp_path)
    with Store(store.path, read_only=True) as reader:
        store._base.execute("BEGIN IMMEDIATE")
        store._base.execute(
            "INSERT INTO trials (run, boat, team, folder, added_at, trial) VALUES ('run-2', '', '', '', '', '{}')"
        )
        assert [kept.trial.run_id for kept in reader.runs()] == ["run-1"]
        store._base.execute("ROLLBACK")


def test_a_full_disk_loses_nothing_that_was_added(store: Store, tmp_path: Path) -> None:
    store.add(a_trial("run-1"), tmp_path)
    pages = int(store._base.execute("PRAGMA page_count").fetchone()[0])
    store._base.execute(f"PRAGMA max_page_count = {pages}")

    def fill() -> None:
        for number in range(2, 100):
            store.add(a_trial(f"run-{number}", flags=("long " * 500,)), tmp_path)

    with pytest.raises(StoreError, match="free some space"):
        fill()
    store._base.execute("PRAGMA max_page_count = 100000")
    before = len(store.runs())
    store.add(a_trial("run-100"), tmp_path)
    assert len(store.runs()) == before + 1


def test_a_copy_taken_in_use_is_whole(store: Store, tmp_path: Path) -> None:
    store.add(a_trial(), tmp_path)
    store.correct(the_word_of("run-1", "void"))
    backup(store.path, tmp_path / "copy.sqlite")
    with Store(tmp_path / "copy.sqlite", read_only=True) as copy:
        assert copy.runs() == store.runs()
    with pytest.raises(StoreError, match="there is a file already"):
        backup(store.path, tmp_path / "copy.sqlite")


# --- speed, and being killed ---


def test_a_trial_is_kept_well_within_a_second(store: Store, tmp_path: Path) -> None:
    begun_s = time.perf_counter()
    for number in range(20):
        store.add(a_trial(f"run-{number}"), tmp_path)
    assert (time.perf_counter() - begun_s) / 20 < 1.0


WRITER = """
    import sys
    from tests_store_trial import a_trial
    from logger.results.store import Correction, Store

    with Store(sys.argv[1]) as store:
        print("open", flush=True)
        for number in range(100_000):
            run = f"run-{sys.argv[2]}-{number}"
            store.add(a_trial(run), "recordings/" + run)
            print(run, flush=True)
            store.correct(Correction(run, "void", "touched", "teacher", ""))
            print("void " + run, flush=True)
"""


def kill_while_writing(folder: Path, *, times: int, seed: int) -> None:
    """SIGKILL a writer after a random number of words, again and again on one store; check it after each."""
    (folder / "tests_store_trial.py").write_text(
        "from calibration.quantity import Quantity\n"
        "from logger.results.trial import Result, Trial\n\n"
        "def a_trial(run):\n"
        "    time = Result(Quantity.of(2.5, 's', u=0.003, source='gate stamps'), 'gate')\n"
        "    return Trial(run, 'straight', 'valid', (), {'time_s': time}, flags=('x' * 3000,))\n"
    )
    (folder / "writer.py").write_text(textwrap.dedent(WRITER))
    path = folder / "trials.sqlite"
    chance = random.Random(seed)  # noqa: S311
    kept: set[str] = set()
    void: set[str] = set()
    for turn in range(times):
        writer = subprocess.Popen(
            [sys.executable, str(folder / "writer.py"), str(path), str(turn)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=folder,
        )
        assert writer.stdout is not None
        for _ in range(chance.randrange(1, 40)):
            said = writer.stdout.readline().strip()
            (void if said.startswith("void ") else kept).add(said.removeprefix("void "))
        spin_until_s = time.perf_counter() + chance.random() * 0.004
        while time.perf_counter() < spin_until_s:
            pass
        writer.kill()
        late = writer.stdout.read().split("\n")[:-1]
        kept |= {said for said in late if not said.startswith("void ")}
        void |= {said.removeprefix("void ") for said in late if said.startswith("void ")}
        writer.wait()
        writer.stdout.close()
        kept.discard("open")
        with Store(path) as store:
            assert store._base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            found = {stored.trial.run_id: stored for stored in store.runs()}
        assert kept <= set(found), f"turn {turn}: lost {sorted(kept - set(found))}"
        assert {run for run in void if found[run].status != "void"} == set()


def test_a_killed_writer_loses_nothing_that_add_returned_for(tmp_path: Path) -> None:
    kill_while_writing(tmp_path, times=30, seed=20260504)
    with Store(tmp_path / "trials.sqlite") as store:
        assert len(store.runs()) > 30


@pytest.mark.bench
def test_a_writer_killed_many_times_loses_nothing(tmp_path: Path) -> None:
    kill_while_writing(tmp_path, times=150, seed=11)
    with Store(tmp_path / "trials.sqlite") as store:
        assert len(store.runs()) > 150


def test_programs_that_open_a_new_store_at_the_same_moment_take_turns(tmp_path: Path) -> None:
    """Several processes of one demo do; the change to write-ahead logging does not wait by itself."""
    at_once = threading.Barrier(4)

    def open_all(_: int) -> int:
        for number in range(25):
            at_once.wait(60)
            with Store(tmp_path / f"{number}.sqlite") as store:
                assert list(store.runs()) == []
        return 25

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(open_all, range(4))) == [25] * 4
