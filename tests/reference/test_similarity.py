"""Likeness and estimate against scikit-learn, on real engines.

The engines are the 400 with a known power of ``cars.json`` in the vega_datasets package (Vega project; the Auto
MPG table of the UCI Machine Learning Repository, collected by E. Ramos and D. Donoho for the American
Statistical Association's exposition of 1983). Only its numbers are used: displacement, cylinders, year,
origin and horsepower.
"""

from __future__ import annotations

import importlib.util
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sklearn.model_selection import LeaveOneOut, cross_val_predict
from sklearn.neighbors import KNeighborsRegressor, NearestNeighbors

from builder.archive import estimate as module
from builder.archive.estimate import estimate
from builder.archive.fields import weights_from
from builder.archive.similarity import build_matrix, nearest
from builder.archive.summary import Summary

pytestmark = pytest.mark.slow
HORSEPOWER = 745.699_872  # W, NIST SP 811
WEIGHTS, _ = weights_from({"year": 1.0})
TOLERANCE = 6e-6  # the archive keeps displacement to 0.01 cc


@pytest.fixture(scope="module")
def engines() -> list[Summary]:
    spec = importlib.util.find_spec("vega_datasets")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the vega_datasets package is not installed")
    path = Path(spec.submodule_search_locations[0]) / "_data" / "cars.json"
    rows = [r for r in json.loads(path.read_text(encoding="utf-8")) if r["Horsepower"] is not None]
    assert len(rows) == 400
    return [
        Summary(
            slug=f"engine-{i:03}",
            title="an engine of the table",
            year=int(r["Year"][:4]),
            family=r["Origin"],
            cylinders=r["Cylinders"],
            displacement=r["Displacement"] * 0.0254**3,
            peak_power=r["Horsepower"] * HORSEPOWER,
        )
        for i, r in enumerate(rows)
    ]


def features(engines: list[Summary]) -> np.ndarray:
    """The same features for scikit-learn: scaled so that Manhattan distance is ours before the cut at 1."""
    origins = sorted({s.family for s in engines})
    return np.array(
        [
            [
                WEIGHTS["displacement"] * math.log2(s.displacement),
                WEIGHTS["cylinders"] * math.log2(s.cylinders),
                WEIGHTS["year"] * s.year / 20.0,
                # Two different origins differ in two of these columns by a half each.
                *(WEIGHTS["family"] * 0.5 * (s.family == origin) for origin in origins),
            ]
            for s in engines
        ]
    )


def test_nearest_relatives_are_scikit_learns_neighbours(engines: list[Summary]) -> None:
    table = build_matrix(engines, WEIGHTS)
    x = features(list(table.summaries))
    total = sum(WEIGHTS[f] for f in ("displacement", "cylinders", "year", "family"))

    def apart(a: np.ndarray, b: np.ndarray) -> float:
        # The most that each number may differ by is its weight.
        numbers = np.minimum(np.abs(a[:3] - b[:3]), [WEIGHTS["displacement"], WEIGHTS["cylinders"], WEIGHTS["year"]])
        return float((numbers.sum() + np.abs(a[3:] - b[3:]).sum()) / total)

    count = 8
    index, distance = nearest(table, count)
    reference = NearestNeighbors(n_neighbors=count + 30, metric=apart, algorithm="brute").fit(x)
    far, who = reference.kneighbors(x)
    for row in range(len(table)):
        others = [(d, i) for d, i in zip(far[row], who[row], strict=True) if i != row]
        assert [d for d, _ in others[:count]] == pytest.approx(distance[row].tolist(), abs=TOLERANCE)
        # Engines at one distance may stand in any order there; nearer than the last distance all must agree.
        last = distance[row][-1] - 2 * TOLERANCE
        assert {i for d, i in others if d < last} == {
            i for d, i in zip(distance[row], index[row], strict=True) if d < last
        }


def test_the_estimate_errs_no_more_and_its_interval_holds(engines: list[Summary]) -> None:
    power = np.array([s.peak_power for s in engines])
    ours, held = [], 0
    for engine in engines:
        rest = [s for s in engines if s is not engine]
        (found,) = estimate(rest, engine, WEIGHTS).expected
        ours.append(abs(found.value - engine.peak_power))
        held += found.minimum <= engine.peak_power <= found.maximum
        assert 0.86 <= found.covered / found.evaluated <= 0.94
    assert 0.86 <= held / len(engines) <= 0.94

    x = features(engines)
    for count in (5, module.MAX_MATCHES):
        for weights in ("uniform", "distance"):
            model = KNeighborsRegressor(count, weights=weights, metric="manhattan")
            guess = cross_val_predict(model, x, power, cv=LeaveOneOut())
            assert np.mean(ours) <= np.mean(np.abs(guess - power))


def test_the_interval_holds_for_an_engine_of_a_new_family(engines: list[Summary]) -> None:
    """Engines of as many cylinders and one displacement are one family (85 of them, 53 with several engines).

    Each is estimated from the other families. With widths measured by leaving single engines out, intervals meant to
    hold 90 % held 80 % of them.
    """
    families = [replace(s, family=f"{s.cylinders} of {s.displacement:.6f}") for s in engines]
    found = [
        (engine, result)
        for engine in families[::4]
        for result in estimate([s for s in families if s.family != engine.family], engine, WEIGHTS).expected
    ]
    assert len(found) >= 90
    assert {result.left_out for _, result in found} == {"families"}
    held = sum(result.minimum <= (engine.peak_power or 0.0) <= result.maximum for engine, result in found)
    assert 0.86 <= held / len(found) <= 0.97
    assert all(0.84 <= result.covered / result.evaluated <= 0.94 for _, result in found)
