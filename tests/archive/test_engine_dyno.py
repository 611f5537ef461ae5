"""Two states of an engine on the dyno compared, with values worked out by hand and by SciPy."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec
import pytest
from scipy.stats import t as student

from builder.archive.engine_dyno import DynoState, compare_states

BEFORE = DynoState("first", "SAE J1349", 50.0, 10.0, (100.0, 110.0, 100.0), 110.0, 60.0, 1.0, 60.0, 0.005, 6.0, 1)


@dataclass(frozen=True)
class Case:
    start: float
    torque: tuple[float, ...]
    means: tuple[float, float]


@pytest.mark.parametrize(
    "case",
    [
        Case(50.0, (110.0, 121.0, 110.0), (105.0, 115.5)),  # trapezoids: (105 + 105) / 2, and 1.1 of it
        Case(60.0, (110.0, 100.0, 90.0), (105.0, 105.0)),  # 60 to 70 rev/s alone
    ],
)
def test_means_are_over_the_speeds_that_both_share(case: Case) -> None:
    after = msgspec.structs.replace(BEFORE, start=case.start, torque=case.torque)
    found = compare_states(BEFORE, after)
    assert found is not None
    assert (found.before, found.after) == pytest.approx(case.means)
    assert (found.low, found.high) == (max(50.0, case.start), 70.0)


def test_the_interval_is_that_of_the_scatter_of_both_sessions() -> None:
    """Source: JCGM 100, G.4.1: equal uncertainties with six degrees of freedom each have twelve together."""
    after = msgspec.structs.replace(BEFORE, name="second")
    found = compare_states(BEFORE, after)
    assert found is not None
    assert found.half_width == pytest.approx(student.ppf(0.975, 12) * 2**0.5 * 0.005 * 105.0, rel=1e-4)
    four = compare_states(msgspec.structs.replace(BEFORE, pulls=4), msgspec.structs.replace(after, pulls=4))
    assert four is not None
    assert four.half_width == pytest.approx(found.half_width / 2)


def test_between_sessions_the_dynos_own_uncertainty_counts_twice() -> None:
    """Source: JCGM 100, 5.1.2 and G.4.1: 1 % of each session, exactly known, next to 0.5 % scatter of each."""
    before = msgspec.structs.replace(BEFORE, shared=0.01, date="2018-03-01")
    same = compare_states(before, msgspec.structs.replace(before, name="second"))
    other = compare_states(before, msgspec.structs.replace(before, date="2021-03-01"))
    unknown = compare_states(*(msgspec.structs.replace(before, date=None),) * 2)
    assert same is not None
    assert other is not None
    assert unknown is not None
    assert same.half_width == pytest.approx(student.ppf(0.975, 12) * 2**0.5 * 0.005 * 105.0, rel=1e-4)
    freedom = (2 * 0.005**2 + 2 * 0.01**2) ** 2 / (2 * 0.005**4 / 6)
    combined = (2 * 0.005**2 + 2 * 0.01**2) ** 0.5 * 105.0
    assert other.half_width == pytest.approx(student.ppf(0.975, freedom) * combined, rel=1e-3)
    assert unknown.half_width == other.half_width


def test_nothing_is_compared_across_standards_or_without_common_speeds() -> None:
    assert compare_states(BEFORE, msgspec.structs.replace(BEFORE, standard="DIN 70020")) is None
    assert compare_states(BEFORE, msgspec.structs.replace(BEFORE, start=80.0)) is None
