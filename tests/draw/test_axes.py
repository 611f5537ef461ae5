"""Labels kept apart, round numbers, words cut to a width."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from builder.draw.axes import Axes, avoid_overlap, floats, padded_limits, tick_labels, ticks, zero_note
from builder.draw.canvas import Canvas
from builder.draw.labels import exact, number, sanitise, signed, truncate, width, with_unit, wrap
from builder.draw.style import WIDE

reasonable = st.floats(-1e6, 1e6, allow_nan=False)


@given(st.lists(reasonable, min_size=1, max_size=20), st.floats(0.5, 30))
def test_spread_labels_stand_clear_in_order_and_inside(wanted: list[float], size: float) -> None:
    low, high = -1e6, 1e6
    placed = avoid_overlap(wanted, size, low, high)
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    assert all(placed[b] - placed[a] >= size - 1e-6 for a, b in pairwise(order))
    assert all(low + size / 2 - 1e-6 <= p <= high - size / 2 + 1e-6 for p in placed)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0, 100), min_size=2, max_size=6), st.data())
def test_spread_moves_the_labels_least(wanted: list[float], data: st.DataObject) -> None:
    """The same sum of squared moves as SciPy's constrained minimiser finds (SLSQP)."""
    sizes = data.draw(st.lists(st.floats(1, 12), min_size=len(wanted), max_size=len(wanted)))
    low, high = -50.0, 150.0
    placed = avoid_overlap(wanted, sizes, low, high)
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    rules = [
        {"type": "ineq", "fun": lambda p, a=a, b=b: p[b] - p[a] - (sizes[a] + sizes[b]) / 2} for a, b in pairwise(order)
    ]
    rules.append({"type": "ineq", "fun": lambda p: p[order[0]] - sizes[order[0]] / 2 - low})
    rules.append({"type": "ineq", "fun": lambda p: high - p[order[-1]] - sizes[order[-1]] / 2})

    def moved(p: np.ndarray) -> float:
        return float(np.sum((np.asarray(p) - wanted) ** 2))

    best = minimize(moved, placed, constraints=rules, method="SLSQP", options={"ftol": 1e-10, "maxiter": 300})
    assert moved(np.asarray(placed)) <= moved(best.x) + 1e-3


def test_spread_without_room_sets_them_evenly() -> None:
    placed = avoid_overlap([5, 5, 5, 5], 10, 0, 20)
    assert placed == pytest.approx([2.5, 7.5, 12.5, 17.5])


@given(reasonable, st.floats(1e-6, 1e6), st.floats(60, 800), st.floats(20, 80))
def test_ticks_are_within_apart_and_few(low: float, span: float, room: float, apart: float) -> None:
    high = low + span
    if high == low or span < 1e-9 * abs(low):
        return
    at = ticks((low, high), room, apart)
    assert all(low - 1e-6 * span <= t <= high + 1e-6 * span for t in at)
    steps = [b - a for a, b in pairwise(at)]
    # Closer only where one number alone would have been left.
    assert len(at) <= 4 or all(step / span * room >= apart * 0.99 for step in steps)
    assert len(at) >= 2 or room < 2 * apart


def test_tick_labels_share_their_decimals() -> None:
    assert tick_labels([0.0, 0.5, 1.0]) == ["0.0", "0.5", "1.0"]
    assert tick_labels([2500.0, 3000.0]) == ["2,500", "3,000"]
    assert tick_labels([0.0, 0.25, 0.5]) == ["0.00", "0.25", "0.50"]
    assert tick_labels([-20.0, 0.0, 20.0]) == ["−20", "0", "20"]


def test_limits_of_identical_values_have_room() -> None:
    for value in (0.0, 5.0, -3.0, 1e-30, 1e30):
        low, high = padded_limits(floats([value, value]))
        assert low < value < high


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [
        (445.4, None, "445"),
        (5600.0, None, "5,600"),
        (41.26, None, "41.3"),
        (9.284, None, "9.28"),
        (0.1234, None, "0.123"),
        (0.0031, 4, "0.0031"),
        (-0.0001, 2, "0.00"),
        (-12.5, 1, "−12.5"),
        (0.0, None, "0"),
        (3.2e9, None, "3.20×10⁹"),
        (1e-7, None, "1.00×10⁻⁷"),
        (math.nan, None, "not known"),
    ],
)
def test_numbers_are_written_as_read(value: float, decimals: int | None, expected: str) -> None:
    assert number(value, decimals) == expected


def test_differences_carry_their_sign() -> None:
    assert [signed(v) for v in (7.1, -7.1, 0.0)] == ["+7.10", "−7.10", "0"]
    assert [exact(v) for v in (28.0, 33.5, 0.0125, 1200.0)] == ["28", "33.5", "0.0125", "1,200"]
    assert [with_unit("35", u) for u in ("°", ":1", "hp", "")] == ["35°", "35:1", "35 hp", "35"]


@given(st.text(max_size=60), st.floats(0, 400), st.booleans())
def test_a_cut_label_fits_and_is_clean(text: str, room: float, bold: bool) -> None:
    cut = truncate(text, room, 12, bold)
    assert width(cut, 12, bold) <= room + 1e-6
    assert cut == sanitise(cut)
    if width(sanitise(text), 12, bold) <= room:
        assert cut == sanitise(text)
    assert all(width(line, 12) <= room + 1e-6 for line in wrap(text, room, 12))


def test_widths_are_those_of_the_measuring_font() -> None:
    # matplotlib's own layout of the same words, without kerning, to the rounding of its hinting.
    from matplotlib.textpath import TextPath

    for words in ("Torque", "445 lbf ft at 3,431 rpm", "Ω ≥ ½"):
        extent = TextPath((0, 0), words, size=100, prop={"family": "DejaVu Sans"}).get_extents()
        assert width(words, 100) >= extent.width - 1
        assert width(words, 100) <= extent.width * 1.06 + 12


def test_axes_that_leave_out_zero_are_named() -> None:
    assert zero_note([("torque", (0.0, 400.0)), ("speed", (-1.0, 5.0))]) == ""
    assert zero_note([("torque", (90.0, 400.0)), ("speed", (0.0, 6000.0))]) == "Not from 0: torque"
    assert zero_note([("torque", (-9.0, -4.0)), ("speed", (1500.0, 6000.0))]) == "Axes do not start at 0"
    assert zero_note([]) == ""


def test_an_area_turns_pixels_back_into_values() -> None:
    axes = Axes(Canvas(400, 300, WIDE), (50, 20, 300, 200), (1500.0, 6000.0), (90.0, 410.0))
    area = axes.area
    assert area.left + (3000 - area.x_low) / (area.x_high - area.x_low) * area.width == axes.x(3000)
    assert area.top + area.height - (250 - area.y_low) / (area.y_high - area.y_low) * area.height == axes.y(250)
    assert area.x_axis == axes.bottom
