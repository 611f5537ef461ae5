"""The adjusted mean against scikit-learn's ridge regression, and its errors against leaving builds out one by one.

Both follow Hoerl and Kennard, "Ridge Regression: Biased Estimation for Nonorthogonal Problems", Technometrics 12, 1970;
the closed form of the errors is Allen's PRESS (Technometrics 16, 1974).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from sklearn.linear_model import Ridge

from builder.archive import adjusted_mean as module
from builder.archive.adjusted_mean import MIN_SIGMA, adjusted_mean

COUNT, FIELDS = 14, 5


def sample(slope: float, seed: int = 4) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return results, weights and differences of builds of which the first two fields move the result."""
    random = np.random.default_rng(seed)
    differences = random.normal(0.0, 0.4, (COUNT, FIELDS))
    results = 5.8 - slope * (differences[:, 0] - 0.5 * differences[:, 1]) + random.normal(0.0, 0.02, COUNT)
    return results, 1.0 / (random.uniform(0.0, 0.3, COUNT) + 0.01), differences


def fitted(penalty: float, results: np.ndarray, weights: np.ndarray, differences: np.ndarray) -> Ridge:
    """Return scikit-learn's regression; its weights add up to the number of builds, as the penalty expects."""
    model = Ridge(alpha=penalty, solver="cholesky")
    model.fit(differences, results, sample_weight=weights)
    return model


@pytest.mark.parametrize("penalty", [penalty for penalty in module.PENALTIES if math.isfinite(penalty)])
def test_it_is_the_intercept_of_a_ridge_regression(penalty: float, monkeypatch: pytest.MonkeyPatch) -> None:
    results, weights, differences = sample(0.3)
    weights *= COUNT / weights.sum()
    monkeypatch.setattr(module, "PENALTIES", (penalty,))
    expected = adjusted_mean(results[None], weights[None], differences[None])
    reference = fitted(penalty, results, weights, differences)
    assert expected.value[0] == pytest.approx(float(reference.intercept_), rel=1e-10)
    center = np.average(differences, axis=0, weights=weights)
    assert expected.adjustments[0] == pytest.approx(-reference.coef_ * center, abs=1e-10)


def test_the_closed_form_is_the_error_of_a_build_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The others keep their weights: only the build is gone."""
    results, weights, differences = sample(0.3)
    weights *= COUNT / weights.sum()
    for penalty in module.PENALTIES:
        monkeypatch.setattr(module, "PENALTIES", (penalty,))
        sigma = adjusted_mean(results[None], weights[None], differences[None]).sigma[0]
        errors = []
        for i in range(COUNT):
            others = np.arange(COUNT) != i
            if math.isfinite(penalty):
                model = fitted(penalty, results[others], weights[others], differences[others])
                errors.append(results[i] - model.predict(differences[i : i + 1])[0])
            else:
                errors.append(results[i] - np.average(results[others], weights=weights[others]))
        expected = math.sqrt(np.average(np.square(errors), weights=weights) + MIN_SIGMA**2)
        assert sigma == pytest.approx(expected, rel=1e-9)


def test_fields_that_say_nothing_leave_the_plain_mean() -> None:
    results, weights, _ = sample(0.0)
    plain = adjusted_mean(results[None], weights[None], np.zeros((1, COUNT, FIELDS)))
    assert plain.value[0] == pytest.approx(np.average(results, weights=weights))
    assert not plain.adjustments.any()
    unknown = adjusted_mean(results[None], weights[None], np.full((1, COUNT, FIELDS), np.nan))
    assert unknown.value[0] == pytest.approx(plain.value[0])
    chosen = [adjusted_mean(*(part[None] for part in sample(0.0, seed))).adjustments.any() for seed in range(40)]
    assert np.mean(chosen) < 0.5  # noise is followed less often than not


def test_a_field_that_moves_the_result_is_followed() -> None:
    results, weights, differences = sample(0.3)
    expected = adjusted_mean(results[None], weights[None], differences[None])
    assert abs(expected.value[0] - 5.8) < 0.03
    assert expected.sigma[0] < 0.05
    scrambled = adjusted_mean(results[None], weights[None], differences[None, ::-1])
    assert scrambled.sigma[0] > 2.0 * expected.sigma[0]


def test_a_build_of_no_weight_counts_for_nothing() -> None:
    results, weights, differences = sample(0.3)
    known = adjusted_mean(results[None], weights[None], differences[None])
    more = [np.append(part, other, axis=0) for part, other in
            ((results, [99.0]), (weights, [0.0]), (differences, np.full((1, FIELDS), np.nan)))]  # fmt: skip
    with_one_more = adjusted_mean(more[0][None], more[1][None], more[2][None])
    assert with_one_more.value[0] == pytest.approx(known.value[0], rel=1e-12)
    assert with_one_more.sigma[0] == pytest.approx(known.sigma[0], rel=1e-12)
