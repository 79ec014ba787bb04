from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from logger.cli import main
from logger.recording.boat_card import read_boat


@pytest.fixture
def card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    return tmp_path / "swan.toml"


MADE = (
    "--name",
    "Paper Swan",
    "--length",
    "8 1/4 in ± 1 mm",
    "--width",
    "8 cm",
    "--freeboard",
    "20",
    "--mass",
    "1.7 oz",
)


def test_a_card_is_made_in_millimetres_and_grams(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["boat", str(card), *MADE, "--tag-number", "3", "--tag-height", "22"]) == 0
    boat = read_boat(card)
    assert (boat.length_mm, boat.width_mm, boat.freeboard_mm) == (209.55, 80.0, 20.0)
    assert boat.u_length_mm == 0.58
    assert boat.mass_g == pytest.approx(48.194, abs=0.001)
    assert boat.tag is not None
    assert (boat.tag.number, boat.tag.height_mm) == (3, 22.0)
    assert "length 209.55 mm, standard uncertainty 0.58 mm" in capsys.readouterr().out


def test_the_card_is_one_that_record_takes(card: Path) -> None:
    from logger import settings
    from logger.recording.card_toml import card_from_table

    main(["boat", str(card), *MADE])
    more = {"id": "run", "kind": "straight", "recorded_at": "2026-05-04T10:15:00+02:00"}
    assert card_from_table(more | settings.load_table(card), file="").boat == read_boat(card)


def test_a_rebuilt_boat_is_a_new_version_and_the_old_card_stays(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["boat", str(card), *MADE])
    before = card.read_text()
    assert main(["boat", str(card), "--rebuilt", "--mass", "61"]) == 0
    assert (read_boat(card).version, read_boat(card).mass_g) == (2, 61.0)
    (older,) = card.parent.glob("swan-before-*.toml")
    assert older.read_text() == before
    main(["boat", str(card), "--mass", "70"])
    assert "was the boat rebuilt? Then do it again with --rebuilt" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--length", "21"), "length_mm: found 21 mm (were cm typed for mm?)"),
        (("--mass", "0.05"), "were kg typed for g"),
        (("--length", "long"), "--length: found 'long'; wanted a number"),
        (("--freeboard", "2,5"), "write decimals with a point"),
        (("--tag-height", "20"), "the card has no tag"),
        (("--tag", "disc", "--tag-number", "3"), "a disc needs no number"),
        (("--ruler-step", "0"), "wanted steps above 0"),
        (("--rebuilt",), "there is no such card yet"),
        (("--name", "=HYPERLINK"), "wanted text that does not begin with"),
    ],
)
def test_what_is_wrong_writes_nothing(
    card: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    assert main(["boat", str(card), "--name", "Paper Swan", *words]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert not card.exists()


def test_what_seems_impossible_is_believed_if_one_is_sure(card: Path) -> None:
    assert main(["boat", str(card), "--name", "Giant", "--length", "900", "--sure"]) == 0
    assert read_boat(card).length_mm == 900.0


def test_without_a_terminal_a_new_card_needs_a_name(card: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["boat", str(card)]) == 2
    assert "--name: found ''" in capsys.readouterr().err


def test_at_a_terminal_it_asks_and_asks_again_for_cm(tmp_path: Path) -> None:
    """A real pseudo-terminal: name, length in cm by mistake and again in mm, width, freeboard, mass."""
    card = tmp_path / "swan.toml"
    ours, theirs = pty.openpty()
    os.write(ours, b"Paper Swan\n21\n210\n80\n20\n48\n")
    ran = subprocess.run(
        [sys.executable, "-m", "logger", "boat", str(card)], stdin=theirs, capture_output=True, text=True, timeout=120,
        check=False, env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    os.close(ours)
    os.close(theirs)
    assert ran.returncode == 0, ran.stderr
    assert "were cm typed for mm" in ran.stdout
    boat = read_boat(card)
    assert (boat.name, boat.length_mm, boat.width_mm, boat.mass_g) == ("Paper Swan", 210.0, 80.0, 48.0)
