from __future__ import annotations

import hashlib
import json
import re
from dataclasses import fields, replace
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.recording.acceptance_file import (
    FILE,
    FORMAT,
    Acceptance,
    Try,
    read_acceptance,
    sha256_of,
    to_take_up,
    write_acceptance,
)

FRESH = Acceptance("bath", "a" * 64, "b" * 64, "boatrun 0.1.0", "2026-11-26T10:00:00+00:00", False, ("check", "plug"))
GOOD = Try("check", "pass", ("all ± well",), "", "2026-11-26T10:01:00+00:00")
BAD = Try("plug", "fail", ("3 of 5 edges",), "a better card", "2026-11-26T10:02:00+00:00", "recordings/pulled-plug-1")


def test_it_comes_back_as_it_was_written(tmp_path: Path) -> None:
    it = FRESH.with_try(BAD).with_try(GOOD)
    write_acceptance(tmp_path, it)
    assert read_acceptance(tmp_path) == it


def test_only_the_last_try_of_every_item_counts() -> None:
    assert not FRESH.passed
    assert not FRESH.with_try(GOOD).passed, "one is not done"
    mended = FRESH.with_try(GOOD).with_try(BAD).with_try(replace(BAD, verdict="pass"))
    assert mended.passed
    assert mended.count("plug") == 2
    assert not mended.with_try(replace(GOOD, verdict="fail")).passed
    assert not replace(FRESH, items=()).passed, "nothing to pass is no pass"


def test_the_file_says_by_itself_whether_all_passed(tmp_path: Path) -> None:
    write_acceptance(tmp_path, FRESH.with_try(GOOD))
    assert json.loads((tmp_path / FILE).read_text())["passed"] is False


def test_each_name_is_described(project: Path) -> None:
    text = (project / "logger/recording/FORMATS.md").read_text(encoding="utf-8")
    section = text.partition("## An acceptance: acceptance.json\n")[2].partition("\n## ")[0]
    assert FORMAT in section
    named = {field.name for kind in (Acceptance, Try) for field in fields(kind)} | {"passed"}
    assert named <= set(re.findall(r"`(\w+)`", section))


@pytest.mark.parametrize(
    "text", ["{", "[]", '{"format": "boatrun-acceptance/2"}', '{"format": "boatrun-acceptance/1", "rig": "x"}']
)
def test_another_file_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE).write_text(text)
    with pytest.raises(InputError, match="no file of an acceptance"):
        read_acceptance(tmp_path)


def test_a_verdict_of_another_kind_is_refused(tmp_path: Path) -> None:
    write_acceptance(tmp_path, FRESH.with_try(GOOD))
    path = tmp_path / FILE
    path.write_text(path.read_text().replace('"pass"', '"perhaps"'))
    with pytest.raises(InputError, match="perhaps"):
        read_acceptance(tmp_path)


def test_the_newest_of_the_same_rig_is_taken_up_and_none_of_another(tmp_path: Path) -> None:
    for name, it in (
        ("acceptance-2026-11-26T100000", FRESH),
        ("acceptance-2026-11-27T100000", FRESH.with_try(GOOD)),
        ("acceptance-2026-11-28T100000", replace(FRESH, rig_file_sha256="c" * 64)),
        ("acceptance-2026-11-29T100000", replace(FRESH, software="boatrun 0.2.0")),
    ):
        (tmp_path / name).mkdir()
        write_acceptance(tmp_path / name, it)
    (tmp_path / "acceptance-2026-11-30T100000").mkdir()
    (tmp_path / "acceptance-2026-11-30T100000" / FILE).write_text("{")
    assert to_take_up(tmp_path, FRESH) == tmp_path / "acceptance-2026-11-27T100000"
    assert to_take_up(tmp_path, replace(FRESH, items=("check",))) is None
    assert to_take_up(tmp_path / "nowhere", FRESH) is None


def test_a_checksum_is_that_of_the_bytes(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4, the example of "abc"
    assert sha256_of(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == sha256_of(tmp_path / "a")
    with pytest.raises(InputError, match="cannot be read"):
        sha256_of(tmp_path / "b")
