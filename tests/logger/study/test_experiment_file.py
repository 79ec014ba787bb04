from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from logger.errors import ConfigError, InputError
from logger.study.experiment_file import keep_plan, plan_path, plan_text, plans_in, read_plan
from tests.logger.study.invented_class import HEAVIER


def test_a_plan_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    path = keep_plan(tmp_path, HEAVIER)
    assert path == tmp_path / "experiments" / "does-a-heavier-boat-drift-farther.toml"
    assert read_plan(path) == HEAVIER
    assert [kept.plan for kept in plans_in(tmp_path)] == [HEAVIER]


def test_no_plan_is_written_over_and_the_same_one_is_kept_once(tmp_path: Path) -> None:
    first, same = keep_plan(tmp_path, HEAVIER), keep_plan(tmp_path, HEAVIER)
    other = keep_plan(tmp_path, replace(HEAVIER, repeats=5))
    assert first == same
    assert other.name == "does-a-heavier-boat-drift-farther-2.toml"
    assert read_plan(first) == HEAVIER


def test_a_question_without_letters_has_a_name_all_the_same(tmp_path: Path) -> None:
    assert keep_plan(tmp_path, replace(HEAVIER, question="?????")).name == "experiment.toml"


def test_a_plan_that_cannot_be_read_says_why_beside_the_others(tmp_path: Path) -> None:
    path = keep_plan(tmp_path, HEAVIER, name="good")
    path.with_name("bad.toml").write_text(plan_text(HEAVIER).replace("drift_mm", "drift"), encoding="utf-8")
    bad, good = plans_in(tmp_path)
    assert good.plan == HEAVIER
    assert bad.plan is None
    assert "result: found 'drift'" in bad.trouble
    assert str(tmp_path) not in bad.trouble
    with pytest.raises(ConfigError, match="result: found 'drift'"):
        read_plan(path.with_name("bad.toml"))


def test_of_two_plans_of_one_name_that_of_the_first_folder_is_taken(tmp_path: Path) -> None:
    own, rig = tmp_path / "own", tmp_path / "rig"
    own.mkdir()
    rig.mkdir()
    keep_plan(own, HEAVIER, name="same")
    keep_plan(rig, replace(HEAVIER, repeats=7), name="same")
    assert [kept.plan for kept in plans_in(own, rig)] == [HEAVIER]


@pytest.mark.parametrize("name", ["../x", "A", "", "x.toml"])
def test_a_name_leads_nowhere_else(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="wanted small letters, digits and hyphens"):
        plan_path(tmp_path, name)
