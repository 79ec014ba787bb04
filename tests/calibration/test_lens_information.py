"""How much pictures disagree, against closed forms and against what many draws do."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.lens import LENS_PARAMETERS
from calibration.lens_information import covariance_of, disagreement, information
from calibration.lens_solve import solve
from tests.calibration.board_views import USUAL, shown


def test_for_a_mean_of_groups_it_is_the_table_of_one_way_analysis_of_variance() -> None:
    """One unknown, groups of one size: between groups over within (Fisher 1925), as in every handbook."""
    rng = np.random.default_rng(1)
    groups = rng.normal(0, 1, (9, 20)) + rng.normal(0, 0.5, (9, 1))
    off = groups - groups.mean()
    variance = float(np.mean(groups.var(axis=1, ddof=1)))
    between = 20 * float(groups.mean(axis=1).var(ddof=1))
    curves, scores = np.full((9, 1, 1), 20.0), off.sum(axis=1)[:, None]
    assert between > variance
    assert disagreement(curves, scores, variance) == pytest.approx(np.sqrt(between / variance), rel=1e-9)


def test_groups_that_agree_better_than_chance_narrow_nothing() -> None:
    assert disagreement(np.ones((6, 2, 2)) + np.eye(2), np.zeros((6, 2)), 1.0) == 1.0


def test_what_is_estimated_of_few_unequal_groups_is_right_in_the_mean() -> None:
    """Scores of a straight line through 8 groups, each with an error of its own, of which two lie far out."""
    rng = np.random.default_rng(2)
    places = np.array([-4.0, -1.0, -0.7, 0.0, 0.4, 0.8, 1.2, 5.0])
    rows = [np.column_stack([np.ones(12), np.full(12, x)]) for x in places]
    whole, sd = np.concatenate(rows), 3.0
    found = []
    for _ in range(2000):
        y = rng.normal(0, 1, len(whole)) + np.repeat(rng.normal(0, sd, 8), 12)
        off = y - whole @ np.linalg.lstsq(whole, y, rcond=None)[0]
        scores = np.array([row.T @ part for row, part in zip(rows, np.split(off, 8), strict=True)])
        found.append(disagreement(np.array([row.T @ row for row in rows]), scores, 1.0) ** 2)
    true = 1 + 12 * sd**2  # variance of a group's mean over that of twelve errors by themselves
    assert np.mean(found) == pytest.approx(true, rel=0.06)


def test_the_pose_takes_its_share_before_the_lens_is_judged() -> None:
    views = shown(USUAL, np.random.default_rng(3), count=6)
    solved = solve(list(views.values()), model="brown", with_k3=False)
    residuals, jacobians = information(solved, views)
    assert [len(one) for one in residuals] == [2 * len(view.pixels) for view in views.values()]
    pull = sum(one.T @ off for one, off in zip(jacobians, residuals, strict=True))
    size = np.sqrt(sum(np.sum(one**2, axis=0) for one in jacobians))
    np.testing.assert_allclose(pull / size, 0, atol=1e-3)  # the fit is at its lowest
    extra = [np.ones((len(off), 1)) for off in residuals]
    _, wider = information(solved, views, also=extra)
    assert wider[0].shape[1] == jacobians[0].shape[1] + 1
    covariance, widened = covariance_of(residuals, jacobians, solved.free)
    assert widened >= 1
    assert covariance[LENS_PARAMETERS.index("k3")].tolist() == [0] * 9
    assert covariance[0, 0] > 0
