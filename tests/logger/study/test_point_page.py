from __future__ import annotations

import base64
import re

import cv2
import numpy as np

from calibration.lens import Lens
from calibration.waterplane import Pose, View
from logger.config import Line, Rig, Tank
from logger.study.point_page import point_page, point_part, sentences

VIEW = View(
    Lens(640, 360, 300.0, 300.0, 319.5, 179.5), Pose.at(np.diag([1.0, -1.0, -1.0]), camera_mm=[0.0, 0.0, 1000.0])
)
TANK = Tank(((-900.0, -400.0), (900.0, -400.0), (900.0, 400.0)), 100.0)
RIG = Rig("r", TANK, (Line("a <b>", "start", (0.0, -300.0), (0.0, 300.0)),))
PICTURE = np.full((360, 640), 90, np.uint8)


def test_the_page_holds_the_picture_itself() -> None:
    page = point_page(PICTURE, RIG, VIEW)
    data = re.search(r"base64,([A-Za-z0-9+/=]+)", page)
    assert data is not None
    shown = cv2.imdecode(np.frombuffer(base64.b64decode(data[1]), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert shown.shape == (360, 640)


def test_nothing_is_fetched_and_nothing_is_left_open() -> None:
    page = point_page(PICTURE, RIG, VIEW)
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert re.findall(r"@[A-Z]+@", page) == []


def test_its_sentences_are_said_in_another_language() -> None:
    part = point_part((640, 360), RIG, None, source="/a.png", say=lambda sentence: f"<{len(sentence)}>")
    assert "@[" not in part
    assert 'data-copied="&lt;7&gt;"' in part, "and cannot break out of their place"
    assert {"Copied.", "No point yet.", "mark line"} < set(sentences())
    assert all(sentence not in part for sentence in sentences() if " " in sentence)
    assert "No point yet." in point_page(PICTURE, RIG, VIEW)


def test_points_so_far_stand_in_the_table_as_text() -> None:
    part = point_part((640, 360), RIG, None, source="/a.png", table='name,kind\n"</textarea>",start\n')
    assert "&lt;/textarea&gt;" in part
    assert part.count("</textarea>") == 1


def test_known_lines_are_drawn_and_their_names_are_text() -> None:
    page = point_page(PICTURE, RIG, VIEW)
    assert "a &lt;b&gt;" in page
    assert "M319.5,269.5" in page  # y = -300 mm at 0.3 px per mm below the middle
    assert "a &lt;b&gt;" not in point_page(PICTURE, RIG, None)
