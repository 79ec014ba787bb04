from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace

from logger.study.class_folder import Class
from logger.study.pack.writing import page_names, zipped


def test_every_link_inside_leads_to_a_page_of_the_pack(whole: Class, files: dict[str, str]) -> None:
    assert len(files) == len(whole.runs) + 2
    for name, text in files.items():
        for link in re.findall(r'href="([^"#:]+)"', re.sub(r"<script.*?</script>", "", text, flags=re.S)):
            assert link in files, (name, link)


def test_names_of_pages_are_plain_and_unlike(whole: Class) -> None:
    one = whole.runs[0]
    odd = [replace(one, run=replace(one.run, trial=replace(one.run.trial, run_id=run_id)), number=i)
           for i, run_id in enumerate(("Index", "Lauf Ä", "lauf-ä", "…"))]  # fmt: skip
    names = page_names(replace(whole, runs=tuple(odd)))
    assert len(set(names.values())) == 4
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names.values())
    assert "index" not in names.values()


def test_a_zip_holds_every_page(files: dict[str, str]) -> None:
    with zipfile.ZipFile(io.BytesIO(zipped(files, "room"))) as archive:
        assert archive.testzip() is None
        assert {name.removeprefix("room/") for name in archive.namelist()} == set(files)
        assert archive.read("room/index.html").decode() == files["index.html"]
