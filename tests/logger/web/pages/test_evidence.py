from __future__ import annotations

from pathlib import Path

import pytest

from logger.web.pages.evidence import address_of
from tests.logger.web.conftest import Desk

FOLDER = "plane/plane-2026-05-04T101500"
VIEW = "camera-view-ab12cd34-2026-05-04.png"


def lay(folder: Path) -> None:
    there = folder / FOLDER
    there.mkdir(parents=True)
    (there / "map.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    (there / "seen-1.png").write_bytes(b"png")
    (there / "camera.toml").write_text("secret")
    (there / "link.svg").symlink_to("/etc/passwd")


def test_pictures_are_sent_and_nothing_else_of_the_folder(desk: Desk) -> None:
    lay(desk.folder)
    answer = desk.client.get(f"/evidence/{FOLDER}/map.svg")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "script-src" not in answer.headers["content-security-policy"]
    assert "sandbox" in answer.headers["content-security-policy"]
    assert desk.client.get(f"/evidence/{FOLDER}/seen-1.png").status_code == 200
    for name in ("camera.toml", "link.svg", "none.svg", "..%2f..%2f..%2frig.toml", ".svg"):
        assert desk.client.get(f"/evidence/{FOLDER}/{name}").status_code == 404, name


def test_viewers_get_drawings_only(guarded: Desk) -> None:
    lay(guarded.folder)
    assert guarded.client.get(f"/evidence/{FOLDER}/map.svg").status_code == 200
    assert guarded.client.get(f"/evidence/{FOLDER}/seen-1.png").status_code == 403
    (guarded.folder / "drafts" / "lines").mkdir(parents=True)
    (guarded.folder / "drafts" / "lines" / "picture.jpg").write_bytes(b"jpg")
    assert guarded.client.get("/draft/lines/picture.jpg").status_code == 403


@pytest.mark.parametrize(
    ("path", "address"),
    [
        (f"{FOLDER}/map.svg", f"/evidence/{FOLDER}/map.svg"), (VIEW, f"/view/{VIEW}"),
        ("pin.toml", None), ("plane/other/map.svg", None), (f"{FOLDER}/deep/map.svg", None), ("rig.toml", None),
    ],
)  # fmt: skip
def test_an_address_is_given_to_pictures_alone(path: str, address: str | None, tmp_path: Path) -> None:
    assert address_of(tmp_path / path, tmp_path) == address
