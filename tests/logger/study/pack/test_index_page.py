from __future__ import annotations

from dataclasses import replace

from logger.study.class_folder import Class
from logger.study.pack.index_page import lead_of


def test_every_run_is_listed_with_its_result_for_each_age(whole: Class, files: dict[str, str]) -> None:
    text = files["index.html"]
    for one in whole.runs:
        assert f'href="{one.id}.html"' in text
    assert '<span data-bands="2-3">about 4.2 seconds</span>' in text  # 1 m at 240 mm/s
    assert '<span data-bands="4-5">4.17\u00a0s</span>' in text


def test_what_does_not_count_is_marked(files: dict[str, str]) -> None:
    text = files["index.html"]
    assert '<strong class="mark">void</strong>' in text
    assert '<strong class="mark">did not finish</strong>' in text


def test_how_much_there_is(whole: Class) -> None:
    assert lead_of(whole) == "53 runs of 8 teams. 2 are shown but not counted."
    assert lead_of(replace(whole, runs=whole.runs[:1])) == "1 run of 1 team."


def test_names_are_escaped(files: dict[str, str]) -> None:
    assert "Room &lt;12&gt;" in files["index.html"]
    assert "Room <12>" not in files["index.html"]
