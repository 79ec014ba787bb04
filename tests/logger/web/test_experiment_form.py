from __future__ import annotations

import pytest

from logger.errors import ConfigError
from logger.results.columns import COLUMNS, RESULTS
from logger.study.experiment import CHANGEABLE
from logger.web.experiment_form import ANSWERS, HELD, answers, changeable, experiment_of_form
from logger.web.forms import Form
from logger.web.lesson_words import SETTINGS


def form(*, held: tuple[str, ...] = (), boat: tuple[str, ...] = (), **values: str) -> Form:
    told = {"question": "Does it matter?", "kind": "drift", "result": "drift_mm", "changed": "mass_g",
            "levels": "50; 100", "repeats": "3"} | values  # fmt: skip
    return Form(told, {"held": held, "boat": boat}, [])


def test_everything_that_may_be_changed_has_its_word_and_its_unit() -> None:
    shown = {"deg": "°", "1": ""}
    assert set(SETTINGS) == set(CHANGEABLE)
    for name, (_words, unit) in SETTINGS.items():
        assert unit == shown.get(COLUMNS[name].unit, COLUMNS[name].unit), name
    assert set(HELD) <= set(CHANGEABLE)
    assert set(changeable()) == set(SETTINGS)


def test_every_answer_is_a_result_with_a_word() -> None:
    assert set(answers()) <= set(RESULTS)
    assert all(names for names in ANSWERS.values())


@pytest.mark.parametrize(
    ("text", "levels"),
    [("50; 100; 150", (50, 100, 150)), ("50, 100, 150", (50, 100, 150)), ("7,5; 12.5 g", (7.5, 12.5)),
     ("-5;5", (-5, 5))],
)  # fmt: skip
def test_numbers_are_read_as_people_write_them(text: str, levels: tuple[float, ...]) -> None:
    assert experiment_of_form(form(levels=text), seed=1).changed.levels == levels


def test_words_are_choices_and_boats_may_be_ticked_or_typed() -> None:
    plan = experiment_of_form(form(changed="power", levels="fan; hand", boats="Coot, Teal", boat=("Coot",)), seed=4)
    assert plan.changed.choices == ("fan", "hand")
    assert plan.boats == ("Coot", "Teal")
    assert plan.seed == 4
    against = experiment_of_form(form(changed="boat", levels="", boat=("Coot", "Teal")), seed=1)
    assert (against.changed.choices, against.boats) == (("Coot", "Teal"), ())


def test_what_is_changed_is_not_held_equal_as_well() -> None:
    assert experiment_of_form(form(held=("power", "mass_g")), seed=1).held_equal == ("power",)


@pytest.mark.parametrize(
    ("values", "said"),
    [({"levels": "heavy; light"}, "heavy"), ({"levels": ""}, "changed"), ({"repeats": "many"}, "many"),
     ({"kind": "straight"}, "which such a run does not have"), ({"question": ""}, "question"),
     ({"changed": "luck"}, "luck"), ({"kind": "load", "result": ""}, "load")],
)  # fmt: skip
def test_mistakes_are_told(values: dict[str, str], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        experiment_of_form(form(**values), seed=1)
