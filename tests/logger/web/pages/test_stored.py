from __future__ import annotations

from pathlib import Path

from tests.logger.web.conftest import PIN, Desk


def lesson_of(desk: Desk) -> Path:
    (folder,) = (desk.folder / "lessons").iterdir()
    return folder


def filmed(desk: Desk) -> Path:
    """A run with a film in its folder."""
    desk.runs()
    run = lesson_of(desk) / "recordings" / "r1"
    (run / "video.avi").write_bytes(b"pictures")
    (run / "frames.csv").write_text("t_ns\n")
    return run


def test_it_tells_in_sentences_what_there_is(desk: Desk) -> None:
    assert "0 lessons" in desk.get("/stored")
    desk.begin()
    filmed(desk)
    page = desk.get("/stored")
    assert "1 lesson, with team numbers" in page
    assert "1 film of a run" in page
    assert "nobody has an account, there is no sound" in page


def test_films_are_erased_when_asked_for_and_results_stay(desk: Desk) -> None:
    desk.begin()
    run = filmed(desk)
    desk.post("/stored/erase", {"lesson": lesson_of(desk).name}, drawn_at="/stored")
    assert not (run / "video.avi").exists()
    assert "No film of any run." in desk.get("/stored")
    assert "4.000" in desk.get("/sofar")


def test_no_film_is_erased_under_a_run(desk: Desk) -> None:
    desk.begin()
    run = filmed(desk)
    desk.press("arm")
    told = desk.post("/stored/erase", {"lesson": lesson_of(desk).name}, 422, drawn_at="/stored").text
    assert "a run is under way" in told
    assert (run / "video.avi").exists()


def test_films_go_when_a_lesson_is_closed_after_its_end(desk: Desk) -> None:
    desk.begin()
    run = filmed(desk)
    desk.post("/lesson/close", {}, drawn_at="/stored")
    assert (run / "video.avi").exists(), "it was only left; it goes on another day"
    desk.post("/lesson/open", {"lesson": lesson_of(desk).name}, drawn_at="/lesson/new")
    desk.press("end")
    desk.post("/lesson/close", {}, drawn_at="/stored")
    assert not (run / "video.avi").exists()


def test_a_class_is_forgotten_only_when_its_name_is_typed_and_the_copies_are_named(desk: Desk) -> None:
    desk.begin()
    desk.runs()
    lesson = lesson_of(desk)
    desk.post("/copy/packed", {"lesson": lesson.name}, 200, drawn_at="/sofar")
    form = {"lesson": lesson.name, "typed": lesson.name}
    assert "this lesson is open" in desk.post("/stored/forget", form, 422, drawn_at="/stored").text
    desk.post("/lesson/close", {}, drawn_at="/stored")
    page = desk.get("/stored")
    assert "tables → download" in page
    assert "The copies above are not reached by that" in page
    assert "nothing was erased" in desk.post("/stored/forget", form | {"typed": "yes"}, 422, drawn_at="/stored").text
    assert lesson.is_dir()
    desk.post("/stored/forget", form, drawn_at="/stored")
    assert not lesson.exists()
    assert "Copies of classes that were forgotten here" in desk.get("/stored")


def test_nothing_else_can_be_forgotten(desk: Desk) -> None:
    for name in ("", ".", "..", "../lessons", "x/../..", "nothing"):
        desk.post("/stored/forget", {"lesson": name, "typed": name}, 422, drawn_at="/lesson/new")
    assert desk.rig_file.is_file()


def test_viewers_read_it_and_erase_nothing(guarded: Desk) -> None:
    guarded.post("/pin", {"pin": PIN})
    guarded.begin()
    guarded.post("/leave", {}, drawn_at="/rig")
    page = guarded.get("/stored")
    assert "1 lesson" in page
    assert 'action="/stored' not in page
