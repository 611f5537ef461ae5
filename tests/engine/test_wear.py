"""Wear, its rate and the outlook to a limit, against values worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine import wear


def test_a_bore_grows_and_a_journal_shrinks() -> None:
    assert wear.wear(81.503, 81.521, 1) == pytest.approx(0.018)
    assert wear.wear(53.995, 53.993, -1) == pytest.approx(0.002)
    assert wear.wear(np.array([81.503, 81.505]), np.array([81.521, 81.504]), 1) == pytest.approx([0.018, -0.001])


def test_the_uncertainties_of_two_readings_add_as_squares() -> None:
    # A gauge that shows 0.001 mm: 0.001/sqrt(12) = 0.000289 mm for each reading, 0.000408 mm for both.
    assert wear.wear_uncertainty(0.001 / 12**0.5, 0.001 / 12**0.5) == pytest.approx(0.000408, abs=1e-6)
    assert wear.wear_uncertainty(3.0, 4.0) == 5.0
    with pytest.raises(ValueError, match="less than zero"):
        wear.wear_uncertainty(-1.0, 1.0)


def test_less_than_the_gauges_may_differ_by_is_no_measurable_wear() -> None:
    # k = 2: 0.002 mm is measurable from 0.001 mm of standard uncertainty on, and not at it.
    assert wear.is_measurable(np.array([0.0021, 0.002, 0.001, -0.003]), 0.001).tolist() == [True, False, False, True]


def test_one_last_digit_is_no_wear() -> None:
    """Two readings of one length to 0.001 mm may always be one digit apart, though k = 2 of the rounding is 0.0008."""
    rounding = 0.001 / 12**0.5 * 2**0.5
    assert wear.resolvable_wear(rounding, 0.001) == 0.001
    assert wear.resolvable_wear(0.002, 0.001) == 0.004
    assert wear.is_measurable(np.array([81.504 - 81.503, 0.002]), rounding, 0.001).tolist() == [False, True]
    rate = wear.rate_range(np.array([[0.001, 0.002]]), np.full((1, 2), rounding), np.array([100.0]), step=0.001)
    assert rate.is_measurable.tolist() == [False, True]


def test_the_rate_has_the_uncertainty_of_wear_and_hours() -> None:
    assert wear.wear_rate(0.018, 420.0) == pytest.approx(4.2857e-5, rel=1e-4)
    # sqrt((0.0004/420)^2 + (0.018 * 10/420^2)^2) = sqrt(9.524e-7^2 + 1.0204e-6^2) = 1.3958e-6
    assert wear.wear_rate_uncertainty(0.018, 0.0004, 420.0, 10.0) == pytest.approx(1.3958e-6, rel=1e-4)
    with pytest.raises(ValueError, match="greater than zero"):
        wear.wear_rate(0.018, 0.0)


def _rate(worn: list[list[float]], uncertainty: float, hours: list[float]) -> wear.RateRange:
    values = np.array(worn)
    return wear.rate_range(values, np.full_like(values, uncertainty), np.array(hours))


def test_the_range_of_rates_holds_the_slowest_and_the_fastest_interval() -> None:
    rate = _rate([[0.020], [0.030]], 0.001, [100.0, 100.0])
    assert rate.value == pytest.approx([0.00025])  # 0.050 over 200 hours
    assert rate.least == pytest.approx([0.00018])  # (0.020 - 2 * 0.001) / 100
    assert rate.most == pytest.approx([0.00032])  # (0.030 + 2 * 0.001) / 100
    assert rate.is_measurable.tolist() == [True]


def test_hours_to_the_limit_by_hand() -> None:
    """0.040 left at 0.00025 an hour is 160 hours; (0.040 - 0.002)/0.00032 = 118.75; 0.042/0.00018 = 233.3."""
    rate = _rate([[0.020], [0.030]], 0.001, [100.0, 100.0])
    (outlook,) = wear.running_to_limit(np.array([0.040]), np.array([0.001]), rate)
    assert (outlook.value, outlook.least, outlook.most) == pytest.approx((160.0, 118.75, 233.333), rel=1e-5)
    assert outlook.reason == ""


@pytest.mark.parametrize(
    ("worn", "uncertainty", "margin", "reason"),
    [
        ([[0.020]], 0.001, None, "no limit"),
        ([[0.001]], 0.001, 0.05, "no measurable wear"),
        ([[-0.020]], 0.001, 0.05, "no measurable wear"),
        ([[0.020]], 0.006, 0.05, "too uncertain"),  # one interval: 0.012 of 0.020 is more than half
        ([[0.020]], 0.001, 0.0, "beyond the limit"),
        ([[0.020], [0.001]], 0.001, 0.05, "too uncertain"),  # the second interval may have worn nothing
        ([[0.020]], 0.004, 0.05, ""),  # 0.008 of 0.020
    ],
)
def test_an_outlook_is_stated_only_where_the_readings_allow_it(
    worn: list[list[float]], uncertainty: float, margin: float | None, reason: str
) -> None:
    rate = _rate(worn, uncertainty, [100.0] * len(worn))
    given = None if margin is None else np.array([margin])
    (outlook,) = wear.running_to_limit(given, np.array([uncertainty]), rate)
    assert outlook.reason == reason
    assert np.isfinite(outlook.value) == (reason == "")


def test_one_interval_and_no_gauge_stated_gives_no_outlook() -> None:
    for worn, reason in (([[0.020]], "uncertainty not stated"), ([[0.020], [0.022]], "")):
        rate = _rate(worn, 0.0004, [100.0] * len(worn))
        (outlook,) = wear.running_to_limit(np.array([0.05]), np.array([0.0]), rate, is_uncertainty_stated=False)
        assert outlook.reason == reason


def test_a_trend_takes_two_intervals_that_both_show_it() -> None:
    assert wear.trend(_rate([[4.0, 4.0]], 0.4, [12.0])) is None  # one interval is a change, no trend
    # The second position did not change in the second interval, the third got better.
    rate = wear.trend(_rate([[4.0, 4.0, 4.0], [3.0, 0.5, -3.0]], 0.4, [14.0, 12.0]))
    assert rate is not None
    assert rate.is_measurable.tolist() == [True, False, False]
    assert (rate.value[0], rate.least[0], rate.most[0]) == pytest.approx((7 / 26, 2.2 / 12, 4.8 / 14))
    assert wear.trend(_rate([[4.0], [-3.0]], 0.4, [14.0, 12.0])) is None
