"""The numbers behind a chart, as the page's script gets them."""

from __future__ import annotations

import json

import numpy as np
import pytest

from builder.draw.drawing import Drawing, PlotArea
from builder.figures.core import display_units as units
from builder.publish.pages.build.readout import (
    Readout,
    ReadoutPanel,
    ReadoutSeries,
    at_speeds,
    between_speeds,
    in_units,
    reading_speeds,
    readout_units,
)

AREA = PlotArea(40.0, 30.0, 500.0, 200.0, 1900.0, 5100.0, 90.0, 130.0, 230.0)
DRAWING = Drawing("power_chart", "Power", "", (560.0, 300.0), "", plots=(AREA,))


def readout(torque: list[float], name: str = "as delivered") -> Readout:
    shown = readout_units(units.TORQUE, "metric", both=True)
    panel = ReadoutPanel("Torque", shown, (in_units(units.TORQUE, shown, torque),))
    x = np.linspace(2000, 2000 + 25 * (len(torque) - 1), len(torque))
    return Readout(x, (ReadoutSeries(name),), (panel,), float(x[0]))


def decoded(steps: list[int | None], decimals: int) -> list[float | None]:
    """Decode as assets/charts.js does."""
    total, values = 0, list[float | None]()
    for step in steps:
        total += step or 0
        values.append(None if step is None else total / 10**decimals)
    return values


def test_the_script_gets_every_value_in_both_systems_to_the_last_digit_shown() -> None:
    torque = [120.04, 121.96, float("nan"), 119.92, -3.26]
    data = json.loads(readout(torque).json(DRAWING))
    (panel,) = data["panels"]
    metric, us = panel["values"][0]
    assert decoded(metric, 1) == [120.0, 122.0, None, 119.9, -3.3]
    # NIST SP 811 (2008), B.8: 1 lbf ft is 1.355818 N m.
    pounds = [None if np.isnan(value) else value / 1.355818 for value in torque]
    for shown, exact in zip(decoded(us, 1), pounds, strict=True):
        assert (shown is None) == (exact is None)
        assert shown is None or exact is None or abs(shown - exact) <= 0.05 + 1e-9
    assert [unit[:2] for unit in panel["units"]] == [["metric", "N m"], ["inch", "lbf ft"]]
    assert decoded(data["x"]["values"], 0) == [2000, 2025, 2050, 2075, 2100]
    assert data["forms"] == [[560, 300, [list(AREA)]]]


def test_one_system_is_enough_where_the_page_shows_one_or_both_agree() -> None:
    assert [unit.system for unit in readout_units(units.TORQUE, "inch", both=False)] == ["inch"]
    assert [unit.system for unit in readout_units(units.RATIO, "inch", both=True)] == ["inch"]


def test_no_name_of_a_pull_ends_the_script_or_is_lost() -> None:
    name = "</script><script>alert(1)</script> & \u2028 \"'"
    text = readout([100.0, 101.0], name).json(DRAWING)
    assert "<" not in text
    assert "\u2028" not in text
    assert json.loads(text)["series"][0][0] == name


def test_curves_are_read_where_they_have_points_and_not_beyond() -> None:
    x = np.array([1975.0, 2000.0, 2025.0, 2050.0])
    speed, values = np.array([2000.0, 2025.0]), np.array([100.0, 110.0])
    np.testing.assert_array_equal(at_speeds(x, speed, values), [np.nan, 100.0, 110.0, np.nan])
    np.testing.assert_array_equal(at_speeds(x, np.empty(0), np.empty(0)), np.full(4, np.nan))
    np.testing.assert_array_equal(between_speeds(np.array([1990.0, 2010.0]), speed, values), [np.nan, 104.0])


@pytest.mark.parametrize("count", [1, 60, 153, 2000])
def test_few_speeds_are_offered_the_ends_among_them(count: int) -> None:
    speed = 2000 + 25.0 * np.arange(count)
    x = reading_speeds([speed, speed[: count // 2 + 1]])
    assert set(x) <= set(speed)
    assert (x[0], x[-1]) == (speed[0], speed[-1])
    assert x.size <= 93
