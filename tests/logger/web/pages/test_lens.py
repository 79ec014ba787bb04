"""The lens by photographs that are sent, and by the live camera, as a browser does it."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calibration.files import load_lens
from calibration.lens import LENS_PARAMETERS
from tests.calibration.board_views import SMALL
from tests.logger.web.conftest import Desk


def sent(paths: list[Path]) -> list[tuple[str, tuple[str, bytes]]]:
    return [("pictures", (path.name, path.read_bytes())) for path in paths]


def test_photographs_give_the_lens_with_what_to_add(desk: Desk, board_photos: Path) -> None:
    photos = sorted(board_photos.iterdir())
    desk.post("/lens/pictures", {}, drawn_at="/lens", files=sent(photos[:5]))
    desk.post("/lens/pictures", {}, drawn_at="/lens", files=sent(photos[5:]))
    assert "<strong>12</strong>" in desk.get("/lens")
    where = desk.worked(desk.post("/lens/work", {"from": "sent", "ruler_mm": "100"}, drawn_at="/lens"))
    assert where.startswith("/lens/result/lens-2026-05-04T")
    text = desk.get(where)
    assert "12 views taken" in text
    assert "there is no earlier calibration" in text
    assert desk.client.get(where.replace("/lens/result", "/evidence/lens") + "/coverage.svg").status_code == 200
    (folder,) = (desk.folder / "lens").iterdir()
    found, covariance = load_lens(folder / "lens.toml")
    u = np.sqrt(np.diag(covariance))
    for index, name in enumerate(LENS_PARAMETERS[:8]):
        assert abs(getattr(found, name) - getattr(SMALL, name)) < 4 * u[index], name
    again = desk.worked(desk.post("/lens/work", {"from": "sent", "ruler_mm": "100"}, drawn_at="/lens"))
    assert again != where, "nothing is written over"
    assert "against the last one" in desk.get(again)


def test_too_few_views_are_refused_with_what_to_add_and_what_was_typed_stays(desk: Desk, board_photos: Path) -> None:
    desk.post("/lens/pictures", {}, drawn_at="/lens", files=sent(sorted(board_photos.iterdir())[:2]))
    where = desk.worked(desk.post("/lens/work", {"from": "sent", "ruler_mm": "99.5"}, drawn_at="/lens"))
    text = desk.get(where)
    assert "Look here" in text
    assert "at least 5 are wanted, better 12" in text, text[text.index("Look here") :][:700]
    assert not (desk.folder / "lens").exists()
    assert 'value="99.5"' in desk.get("/lens")


def blank() -> bytes:
    data = io.BytesIO()
    Image.new("L", (320, 200), 90).save(data, "PNG")
    return data.getvalue()


@pytest.mark.parametrize(
    ("files", "told"),
    [
        ([], "no file was chosen"), ([("pictures", ("a.png", b"torn"))], "no picture that can be read"),
        ([("pictures", ("a.avi", b"RIFF\0\0\0\0AVI x")), ("pictures", ("b.png", blank()))], "one film, or photographs"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused(desk: Desk, files: list, told: str) -> None:
    answer = desk.post("/lens/pictures", {}, status=422, drawn_at="/lens", files=files or {"pictures": ("", b"")})
    assert told in answer.text


def test_numbers_that_are_none_are_refused_and_there_is_nothing_to_work_with(desk: Desk) -> None:
    assert (
        "there are no photographs yet" in desk.post("/lens/work", {"from": "sent"}, status=422, drawn_at="/lens").text
    )
    desk.post("/lens/pictures", {}, drawn_at="/lens", files=[("pictures", ("a.png", blank()))])
    answer = desk.post("/lens/work", {"from": "sent", "ruler_mm": "ten"}, status=422, drawn_at="/lens")
    assert "the bar by a ruler: found &#39;ten&#39;" in answer.text
    desk.post("/lens/forget", {}, drawn_at="/lens")
    assert "disabled" in desk.get("/lens")


LIVE = """
[camera.driver]
kind = "recorded_camera"
folder = "film"
"""


def test_the_live_camera_shows_how_far_it_is(desk: Desk, filmed_once: Path) -> None:
    """A recorded camera that sees no board: nothing is kept, and that is told."""
    text = desk.rig_file.read_text() + LIVE.replace('"film"', f'"{filmed_once}"')
    desk.rig_file.write_text(text)
    assert "With the rig&#39;s camera, live" in desk.get("/lens")
    answer = desk.post("/lens/work", {"from": "camera", "ruler_mm": "100"}, drawn_at="/lens")
    path = answer.headers["location"]
    desk.client.get(path)
    desk.post(path, {"how": "enough"}, drawn_at="/lens")
    where = desk.worked(answer)
    assert where == path
    assert "Look here" in desk.get(where)
    assert not (desk.folder / "lens").exists()
