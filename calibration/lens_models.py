"""Which model of the lens? The one that foretells pictures it was not fitted to.

The views are dealt into groups; each model is fitted without one group and asked where the corners of that group's
boards are (only each board's own pose is found anew). A model with too few terms is off where the lens bends more; one
with too many follows the noise of the others. The simplest one is taken that is not clearly worse than the best: by
more than two standard errors of the difference over the views (one in the rule of Breiman, Friedman, Olshen and Stone,
Classification and Regression Trees, 1984; with one, models that are equally good were seen to change places), and by
more than 0.03 px on top of the noise, which is less than a tenth of a millimetre on the water. Errors are compared by
their ratios, lest one picture that a model gets wholly wrong make the difference look uncertain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.board import BoardSeen
from calibration.lens import Floats, LensModel
from calibration.lens_fit import LensFit, fit_lens
from calibration.lens_solve import board_pose, solve

_GROUPS_COUNT = 5
_FEWEST_TO_COMPARE = 8
_TIMES_ERROR, _NEGLIGIBLE_PX = 2.0, 0.03


@dataclass(frozen=True, slots=True)
class Model:
    """A model of the lens that may be fitted."""

    words: str
    lens: LensModel
    with_k3: bool


MODELS = (
    Model("usual lens (Brown: k1, k2, p1, p2)", "brown", False),
    Model("wide lens (Brown with k3)", "brown", True),
    Model("fisheye (k1, k2, k3)", "fisheye", True),
)
"""From the simplest to the one that is asked last."""


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The model that was taken, its fit, and why."""

    model: Model
    fit: LensFit
    foretold_px: Mapping[str, float]
    """For each model, in words, the root mean square error of corners in pictures that it was not fitted to; infinite
    where it cannot be fitted. Empty if there were too few pictures to compare."""
    doubts: tuple[str, ...]
    """What a person should know of the choice, one sentence each."""


def choose(views: Mapping[str, BoardSeen], *, flat_mm: float = 0.0, place: str = "board pictures") -> Chosen:
    """The lens from named views, with the model that the views speak for; the board is flat to `flat_mm`.

    Raises:
        CalibrationError: as `fit_lens`, of the model that was chosen.
    """
    if len(views) < _FEWEST_TO_COMPARE:
        fit = fit_lens(views, flat_mm=flat_mm, place=place)
        said = f"with {len(views)} pictures models of the lens cannot be compared; {_FEWEST_TO_COMPARE} are wanted"
        return Chosen(MODELS[0], fit, {}, (said,))
    errors = {model.words: _foretold(list(views.values()), model) for model in MODELS}
    foretold_px = {words: float(np.sqrt(np.mean(error))) for words, error in errors.items()}
    model = _simplest(errors)
    if not np.isfinite(foretold_px[model.words]):
        model = MODELS[0]
    fit = fit_lens(views, model=model.lens, with_k3=model.with_k3, flat_mm=flat_mm, place=place)
    return Chosen(model, fit, foretold_px, ())


def _simplest(errors: Mapping[str, Floats]) -> Model:
    means = {words: float(np.mean(error)) for words, error in errors.items()}
    best = min(means, key=lambda words: means[words])
    for model in MODELS:
        error = errors[model.words]
        if not np.isfinite(means[model.words]):
            continue
        times = np.log(error / errors[best])
        standard_error = np.std(times, ddof=1) / np.sqrt(len(times))
        if means[model.words] - means[best] <= _NEGLIGIBLE_PX**2 or np.mean(times) <= _TIMES_ERROR * standard_error:
            return model
    return next(model for model in MODELS if model.words == best)


def _foretold(views: list[BoardSeen], model: Model) -> Floats:
    """For each view the mean squared distance (px²) of its corners from where the others' lens expects them."""
    error = np.full(len(views), np.inf)
    try:
        whole = solve(views, model=model.lens, with_k3=model.with_k3).lens if model.lens == "fisheye" else None
    except (np.linalg.LinAlgError, cv2.error):
        return error
    for group in range(_GROUPS_COUNT):
        held = [index for index in range(len(views)) if index % _GROUPS_COUNT == group]
        taught = [view for index, view in enumerate(views) if index not in held]
        try:
            lens = solve(taught, model=model.lens, with_k3=model.with_k3, near=whole).lens
            for index in held:
                _, residuals = board_pose(lens, views[index])
                error[index] = 2 * np.mean(residuals**2)
        except (np.linalg.LinAlgError, cv2.error):
            return np.full(len(views), np.inf)
    return error
