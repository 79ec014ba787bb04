from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from logger.cli import main
from logger.errors import InputError
from logger.recording.erasing import erase_film
from logger.results.exported import WORKBOOK, of_recording, of_store, written


def test_a_store_gives_its_runs_with_what_their_recordings_tell(filmed: Path, tmp_path: Path) -> None:
    folder, store = filmed, tmp_path / "trials.sqlite"
    assert main(["measure", "--store", str(store), str(folder)]) == 0
    (run,) = of_store(store)
    assert run.card is not None
    assert len(run.edges) > 0
    shutil.rmtree(folder)
    (run,) = of_store(store)
    assert (run.card, run.edges) == (None, ())
    assert set(written([run], "xlsx")) == {WORKBOOK}
    assert "runs.csv" in written([run], "csv")


def test_a_run_whose_film_was_erased_is_exported_with_its_card_and_track(filmed: Path, tmp_path: Path) -> None:
    store = tmp_path / "trials.sqlite"
    assert main(["measure", "--store", str(store), str(filmed)]) == 0
    (before,) = of_store(store)
    erase_film(next(filmed.glob("video.*")))
    for name in ("edges.csv", ""):
        if name:
            (after,) = of_store(store)
            assert after.track == before.track != ()
            (filmed / name).unlink(missing_ok=True)
        (after,) = of_store(store)
        assert after.card == before.card


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such store"):
        of_store(tmp_path / "none.sqlite")
    with pytest.raises(InputError, match="no such recording"):
        of_recording(tmp_path / "none")
