"""Sums whose answer can be seen: made-up figures, pooled, told and drawn."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.bench.vision.__main__ import as_json
from tests.bench.vision.clips import DECKS, FIRST_JUDGING_SEED, TIERS, clips
from tests.bench.vision.figures import Figures
from tests.bench.vision.picture import picture
from tests.bench.vision.recipes import RecipeFigures
from tests.bench.vision.table import pooled, pooled_recipe, summary, table

CLIP = Figures(
    clip="easy-1", tier="easy", tag="none", boat="red", kind="drift", frames_count=4,
    rms_mm=1.0, p95_mm=1.0, most_mm=1.0, lost_share=0.0, doubtful_share=0.0, silent_share=0.0, within_2u_share=1.0,
    mean_u_mm=1.0, drift_mm=-0.5, crossings_ms=(1.0, -3.0), path_share=0.01, decode_s=1.0, measure_s=2.0,
    speed_share=0.5, trouble="", recipes=(), apart_mm=(1.0, 1.0, 1.0, 1.0), sure=(True,) * 4,
)  # fmt: skip
FLOW = RecipeFigures("flow", 6.0, 6.0, 0.5, 0.25, 4.0, 0.25, (6.0, 6.0))


def clip(**changes: Any) -> Figures:
    return replace(CLIP, **changes)


def test_pictures_count_alike_whichever_clip_they_are_of() -> None:
    half_lost = clip(apart_mm=(12.0, 2.0), sure=(True, False), silent_share=0.25, within_2u_share=0.5, drift_mm=1.5)
    told = pooled([CLIP, half_lost])
    assert told["rms_mm"] == pytest.approx(np.sqrt((4 * 1 + 144 + 4) / 6))
    assert told["sure_rms_mm"] == pytest.approx(np.sqrt((4 * 1 + 144) / 5))
    assert told["lost_percent"] == pytest.approx(100 * 2 / 8)
    assert told["doubtful_percent"] == pytest.approx(100 * 1 / 8)
    assert told["silent_percent"] == pytest.approx(100 * 1 / 8)
    assert told["within_2u_percent"] == pytest.approx(100 * (4 + 1) / 6)
    assert (told["drift_median_mm"], told["drift_worst_mm"]) == (1.0, 1.5)
    assert told["crossing_median_ms"] == 2.0
    assert told["path_bias_percent"] == pytest.approx(1.0)
    assert told["speed_share"] == 0.5


def test_a_boat_that_was_not_found_is_lost_in_every_picture() -> None:
    none = clip(trouble="nothing moves", apart_mm=(), sure=(), lost_share=1.0, crossings_ms=(), drift_mm=None,
                path_share=None, within_2u_share=0.0)  # fmt: skip
    told = pooled([CLIP, none])
    assert told["clips_not_found_count"] == 1
    assert told["lost_percent"] == 50.0
    assert told["within_2u_percent"] == 100.0
    assert (told["drift_runs_count"], told["drifts_count"]) == (2, 1)
    assert np.isnan(pooled([none])["rms_mm"])


def test_a_recipe_is_pooled_like_the_tracker() -> None:
    told = pooled_recipe(
        [clip(recipes=(FLOW,)), clip(recipes=(replace(FLOW, apart_mm=(2.0,) * 4, lost_share=0.0),))], "flow"
    )
    assert told is not None
    assert told["rms_mm"] == pytest.approx(np.sqrt((2 * 36 + 4 * 4) / 6))
    assert told["lost_percent"] == 25.0
    assert told["silent_percent"] == 25.0
    assert told["speed_share"] == 0.25
    assert pooled_recipe([CLIP], "flow") is None


def mixed() -> list[Figures]:
    return [
        clip(recipes=(FLOW,)),
        clip(boat="foil", sure=(False,) * 4, doubtful_share=1.0),
        clip(boat="white"),
        clip(tag="square", boat="foil"),
        clip(tier="hard", tag="disc", drift_mm=None, apart_mm=(), sure=(), trouble="it hides"),
    ]


def test_boats_are_told_apart_by_tag_and_paint_and_runs_marked_as_a_whole_are_left_out_once() -> None:
    named = [(row["tier"], row["boats"], row["by"], row["clips_count"]) for row in summary(mixed())]
    assert named == [
        ("easy", "square", "boatrun", 1),
        ("easy", "coloured or dark", "boatrun", 1),
        ("easy", "coloured or dark", "flow", 1),
        ("easy", "foil or white", "boatrun", 2),
        ("easy", "foil or white", "boatrun, unmarked", 1),
        ("hard", "disc", "boatrun", 1),
    ]
    assert len(table(mixed()).splitlines()) == 1 + len(named) + 3


def test_the_drawing_has_every_row_and_a_dot_for_every_clip_that_was_held() -> None:
    root = ET.fromstring(picture(mixed()))
    said = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert said.count("boatrun") == 4
    assert said.count("flow") == 1
    assert said.count("never held") == 1
    assert {"easy tier", "hard tier", "foil or white"} <= set(said)
    assert len(list(root.iter("{http://www.w3.org/2000/svg}circle"))) == 5


def test_the_json_can_be_read_by_anybody_and_has_no_lists_of_pictures() -> None:
    whole = json.loads(as_json(mixed(), judging=False), parse_constant=pytest.fail)
    assert len(whole["clips"]) == 5
    assert whole["summary"][-1]["rms_mm"] is None
    assert not {"apart_mm", "sure"} & set(whole["clips"][0])
    assert whole["clips"][0]["recipes"][0]["recipe"] == "flow"


def test_clips_for_judging_are_others_than_those_for_development() -> None:
    both = [clips(tiers=TIERS, decks=DECKS, count=12, judging=judging) for judging in (False, True)]
    assert not {c.seed for c in both[0]} & {c.seed for c in both[1]}
    assert {c.seed for c in both[1]} == set(range(FIRST_JUDGING_SEED, FIRST_JUDGING_SEED + 12))
    assert len({c.name for c in both[0] + both[1]}) == 2 * len(TIERS) * len(DECKS) * 12


def test_a_clip_whose_drawing_was_broken_off_is_drawn_anew_and_a_whole_one_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (wanted,) = clips(tiers=("easy",), decks=("coloured",), count=1, judging=False)
    drawn: list[Path] = []

    def broken_off(folder: Path, **_: Any) -> None:
        drawn.append(folder)
        folder.mkdir()
        (folder / "truth.json").write_text("{}", encoding="utf-8")
        if len(drawn) == 1:
            raise KeyboardInterrupt("by a key")

    monkeypatch.setattr("tests.bench.vision.clips.simulate", broken_off)
    with pytest.raises(KeyboardInterrupt, match="by a key"):
        wanted.made(tmp_path)
    assert not (tmp_path / wanted.name).exists()
    assert wanted.made(tmp_path) == wanted.made(tmp_path) == tmp_path / wanted.name
    assert len(drawn) == 2
    assert [at.name for at in tmp_path.iterdir()] == [wanted.name]
