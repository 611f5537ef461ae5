"""The lift curve for drawing: through the known points, monotone, level at the nose."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine.lift_curve import lift_curve
from builder.engine.validation import InputConflict


@st.composite
def cards(draw: st.DrawFn) -> tuple[list[float], list[float], float]:
    """Lifts [m], durations [deg] and the maximum lift of a cam that could be ground."""
    count = draw(st.integers(1, 5))
    max_lift = draw(st.floats(0.006, 0.018))
    part = st.just(0.0) | st.floats(1e-3, 0.9)
    parts = sorted(draw(st.lists(part, min_size=count, max_size=count, unique_by=lambda x: round(x, 3))))
    steps = draw(st.lists(st.floats(5.0, 60.0), min_size=count, max_size=count))
    durations = (330.0 - np.cumsum(steps)).tolist()
    return [part * max_lift for part in parts], durations, max_lift


@given(card=cards(), centerline=st.floats(-130.0, 130.0))
def test_the_curve_goes_through_every_known_point(
    card: tuple[list[float], list[float], float], centerline: float
) -> None:
    lifts, durations, max_lift = card
    curve = lift_curve(centerline, lifts, durations, max_lift)
    assert curve.at(centerline) == pytest.approx(max_lift)
    half = np.array(durations) / 2
    np.testing.assert_allclose(curve.at(centerline - half), lifts, atol=1e-12)
    np.testing.assert_allclose(curve.at(centerline + half), lifts, atol=1e-12)


@given(card=cards())
def test_each_flank_is_monotone_and_the_nose_is_level(card: tuple[list[float], list[float], float]) -> None:
    lifts, durations, max_lift = card
    curve = lift_curve(0.0, lifts, durations, max_lift)
    flank = curve.at(np.linspace(0.0, 359.0, 2000))
    assert np.all(np.diff(flank) <= 1e-15)
    assert flank[0] == max_lift
    assert np.all(flank >= 0)
    assert curve.at(360.0) == 0.0
    assert (curve.at(0.0) - curve.at(1e-4)) / 1e-4 < 1e-6 * max_lift


@given(card=cards(), angle=st.floats(-400.0, 1200.0))
def test_the_curve_is_symmetric_and_repeats_every_cycle(
    card: tuple[list[float], list[float], float], angle: float
) -> None:
    curve = lift_curve(107.0, *card)
    assert curve.at(107.0 + angle) == pytest.approx(curve.at(107.0 - angle), abs=1e-12)
    assert curve.at(angle) == pytest.approx(curve.at(angle + 720.0), abs=1e-12)


def test_the_curve_has_no_kink() -> None:
    curve = lift_curve(104.0, [0.00015, 0.00127, 0.00508], [292.0, 238.0, 158.0], 0.0157)
    step = 1e-4
    for knot in curve.half_angles[1:]:
        before = (curve.at(104.0 + knot) - curve.at(104.0 + knot - step)) / step
        after = (curve.at(104.0 + knot + step) - curve.at(104.0 + knot)) / step
        assert before == pytest.approx(after, abs=1e-7)


def test_the_order_of_the_card_does_not_matter() -> None:
    angles = np.linspace(0, 720, 97)
    one = lift_curve(104.0, [0.00015, 0.00127], [292.0, 238.0], 0.0157).at(angles)
    other = lift_curve(104.0, [0.00127, 0.00015], [238.0, 292.0], 0.0157).at(angles)
    np.testing.assert_array_equal(one, other)


def test_a_known_seat_to_seat_duration_ends_the_lift_there() -> None:
    curve = lift_curve(110.0, [0.0, 0.00127], [300.0, 236.0], 0.0100)
    assert curve.at(110.0 + 150.0) == 0.0
    assert curve.at(110.0 + 149.0) > 0.0


def test_a_long_lobe_still_closes_within_a_cycle_at_crank_speed() -> None:
    curve = lift_curve(110.0, [0.004], [330.0], 0.0100, cycle=360.0)
    assert curve.at(110.0 + 180.0) == 0.0
    assert curve.at(110.0) == curve.at(470.0) == pytest.approx(0.0100)


def test_scalars_give_floats_and_arrays_keep_their_shape() -> None:
    curve = lift_curve(104.0, [0.00127], [238.0], 0.0157)
    assert type(curve.at(90.0)) is float
    assert np.shape(curve.at(np.zeros((3, 4)))) == (3, 4)


@pytest.mark.parametrize(
    ("lifts", "durations", "sentence"),
    [
        ([0.001, 0.002], [240.0], "one duration"),
        ([], [], "at least one pair"),
        ([0.020], [240.0], "maximum lift"),
        ([-0.001], [240.0], "maximum lift"),
        ([0.001, 0.002], [240.0, 250.0], "longer its duration"),
        ([0.001, 0.001], [240.0, 230.0], "longer its duration"),
        ([0.001], [720.0], "one cycle"),
        ([0.001], [-5.0], "durations must be greater than zero"),
    ],
)
def test_a_card_that_contradicts_itself_is_refused(lifts: list[float], durations: list[float], sentence: str) -> None:
    with pytest.raises(InputConflict, match=sentence):
        lift_curve(104.0, lifts, durations, 0.015)


def test_the_strongest_deceleration_is_the_least_second_difference() -> None:
    curve = lift_curve(0.0, [1.27e-3, 5e-3], [230.0, 150.0], 12e-3)
    angles = np.arange(-160.0, 160.0, 0.01)
    second = np.diff(np.asarray(curve.at(angles)), 2) / 0.01**2
    curvature, lift = curve.strongest_deceleration()
    assert curvature == pytest.approx(-second.min(), rel=1e-3)
    assert lift == pytest.approx(float(np.asarray(curve.at(angles[1 + int(second.argmin())]))), rel=1e-3)
