"""A swept setting: an optimum only where the numbers support one."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.optimum import BestSetting
from builder.engine.optimum import best_setting as best_setting_with
from builder.engine.pull_scatter import Variance

SHARP = Variance(value=1e-4**2, freedom=50.0)
"""A noise far below all differences of these tests."""


def best_setting(levels: list[float], values: list[float], noise: Variance = SHARP) -> BestSetting:
    return best_setting_with(levels, values, noise)


def test_an_optimum_between_the_levels() -> None:
    levels = [28.0, 30.0, 32.0, 34.0, 36.0]
    found = best_setting(levels, [400 - 0.5 * (x - 32.6) ** 2 for x in levels])
    assert found.verdict == "optimum"
    assert found.optimum == pytest.approx(32.6)
    assert found.optimum_value == pytest.approx(400)
    assert (found.best_tried, found.best_value) == (32.0, pytest.approx(399.82))
    assert found.interval is not None
    assert found.interval[0] < 32.6 < found.interval[1]
    assert found.at(32.6) == pytest.approx(400)


def test_within_one_step_beyond_is_named_but_not_further() -> None:
    def swept(top: float) -> str:
        return best_setting([30.0, 32.0, 34.0], [400 - (x - top) ** 2 for x in (30.0, 32.0, 34.0)]).verdict

    assert swept(35.9) == "optimum"
    assert swept(36.1) == "still rising"
    assert swept(28.1) == "optimum"
    assert swept(27.9) == "still falling"


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        ([400, 404, 408], "still rising"),
        ([408, 404, 400], "still falling"),
        ([400, 401, 406], "still rising"),
        ([406, 401, 400], "still falling"),
        ([405, 400, 406], "still rising"),
        ([405, 400, 404], "still falling"),
        ([400, 400, 400], "no measurable change"),
    ],
)
def test_where_no_optimum_may_be_named(values: list[float], verdict: str) -> None:
    found = best_setting([1.0, 2.0, 3.0], values)
    assert found.verdict == verdict
    assert found.optimum is None
    assert found.optimum_value is None


def test_a_valley_in_which_neither_end_leads_on() -> None:
    valley = best_setting([1.0, 2.0, 3.0, 4.0, 5.0], [404.0, 401.0, 400.0, 401.0, 404.0])
    assert valley.curvature > 0
    assert valley.verdict == "still falling"
    assert valley.best_tried == 1.0


def test_repeated_levels_count_as_their_mean_and_order_does_not_matter() -> None:
    found = best_setting([34.0, 30.0, 32.0, 32.0], [398.0, 396.0, 401.0, 399.0])
    assert found.levels == (30.0, 32.0, 34.0)
    assert (found.best_tried, found.best_value) == (32.0, 400.0)


def test_a_bend_within_the_noise_names_no_optimum() -> None:
    levels, values = [30.0, 32.0, 34.0], [400.0, 402.0, 400.2]
    assert best_setting(levels, values).verdict == "optimum"
    found = best_setting(levels, values, Variance(value=2.0**2, freedom=6.0))
    assert found.verdict == "no measurable change"
    assert (found.optimum, found.interval, found.optimum_value) == (None, None, None)


def test_a_slope_beyond_the_noise_is_still_rising() -> None:
    levels, values = [30.0, 32.0, 34.0], [400.0, 407.0, 412.0]
    assert best_setting(levels, values, Variance(value=1.5**2, freedom=6.0)).verdict == "still rising"
    assert best_setting(levels, values[::-1], Variance(value=1.5**2, freedom=6.0)).verdict == "still falling"


def test_the_interval_holds_the_settings_whose_slope_may_be_zero() -> None:
    levels = [28.0, 30.0, 32.0, 34.0, 36.0]
    noise = Variance(value=0.4**2, freedom=6.0)
    found = best_setting(levels, [400 - 0.5 * (x - 32.6) ** 2 for x in levels], noise)
    assert found.interval is not None
    wider = best_setting(levels, [400 - 0.3 * (x - 32.6) ** 2 for x in levels], noise)
    assert wider.interval is not None
    assert wider.interval[0] < found.interval[0] < 32.6 < found.interval[1] < wider.interval[1]


def test_a_drift_that_may_be_there_widens_the_interval() -> None:
    levels = [28.0, 30.0, 32.0, 34.0, 36.0]
    values = [400 - 0.5 * (x - 32.6) ** 2 for x in levels]
    noise = Variance(value=0.4**2, freedom=6.0)
    steady = best_setting_with(levels, values, noise)
    drifting = best_setting_with(levels, values, noise, [0.0, 0.5, 1.0, 1.5, 2.0])
    assert steady.interval is not None
    assert drifting.interval is not None
    assert drifting.interval[0] < steady.interval[0]
    assert drifting.interval[1] > steady.interval[1]


def test_offset_and_scale_of_the_levels_do_not_matter() -> None:
    levels = np.array([0.0100, 0.0120, 0.0150])
    found = best_setting(list(levels + 1000), [400.0, 403.0, 401.0])
    near = best_setting(list(levels), [400.0, 403.0, 401.0])
    assert found.optimum is not None
    assert near.optimum is not None
    assert found.optimum - 1000 == pytest.approx(near.optimum, abs=1e-6)


@pytest.mark.parametrize(
    ("levels", "values", "words"),
    [
        ([1.0, 2.0], [1.0, 2.0], "three different"),
        ([1.0, 1.0, 2.0], [1.0, 2.0, 3.0], "three different"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], "one value"),
        ([1.0, 2.0, 3.0], [1.0, float("nan"), 2.0], "numbers"),
    ],
)
def test_errors_are_plain(levels: list[float], values: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        best_setting(levels, values)
