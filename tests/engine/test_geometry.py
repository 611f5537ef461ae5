"""Cylinder and compression: the stack-up, the volumes and the ratios."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import geometry
from builder.engine.validation import InputConflict

INCH = 0.0254
CC = 1e-6

bores = st.floats(0.03, 0.2)
strokes = st.floats(0.03, 0.2)
ratios = st.floats(1.5, 25.0)


@given(bore=bores, stroke=strokes, cylinders=st.integers(1, 16))
def test_displacement_is_that_of_every_cylinder(bore: float, stroke: float, cylinders: int) -> None:
    whole = geometry.displacement(geometry.swept_volume(bore, stroke), cylinders)
    assert whole == pytest.approx(cylinders * np.pi * (bore / 2) ** 2 * stroke, rel=1e-14)


@pytest.mark.parametrize("cylinders", [0, -4, 2.5])
def test_cylinders_are_counted(cylinders: float) -> None:
    with pytest.raises(InputConflict, match="counted") as refused:
        geometry.displacement(1e-3, cylinders)  # type: ignore[arg-type]
    assert refused.value.inputs == ("cylinders",)


def test_scalars_give_floats_and_arrays_keep_their_shape() -> None:
    assert type(geometry.swept_volume(0.1, 0.09)) is float
    bores = np.array([0.1, 0.1001, 0.0999])
    assert np.shape(geometry.swept_volume(bores, 0.09)) == (3,)
    assert np.shape(geometry.swept_volume(bores[:, None], np.array([0.08, 0.09]))) == (3, 2)


def test_a_cylinder_that_was_not_measured_stays_unknown() -> None:
    volumes = geometry.swept_volume(np.array([0.1, np.nan]), 0.09)
    assert np.isnan(volumes[1])
    assert volumes[0] == geometry.swept_volume(0.1, 0.09)


def test_the_position_in_conflict_is_named() -> None:
    with pytest.raises(InputConflict, match=r"bore must be greater than zero \(position 2\)"):
        geometry.swept_volume(np.array([0.1, -0.1, 0.1]), 0.09)


@given(
    stroke=st.floats(0.04, 0.12),
    rod=st.floats(0.1, 0.25),
    height=st.floats(0.02, 0.06),
    deck=st.floats(-0.002, 0.004),
)
def test_the_deck_stack_closes(stroke: float, rod: float, height: float, deck: float) -> None:
    deck_height = stroke / 2 + rod + height + deck
    assert geometry.deck_clearance(deck_height, stroke, rod, height) == pytest.approx(deck, abs=1e-15)
    back = geometry.compression_height_from_deck(deck_height, stroke, rod, deck)
    assert back == pytest.approx(height, rel=1e-13)


def test_a_proud_piston_has_negative_deck_clearance_and_takes_volume_away() -> None:
    clearance = geometry.deck_clearance(9.0 * INCH, 3.5 * INCH, 5.7 * INCH, 1.56 * INCH)
    assert clearance == pytest.approx(-0.010 * INCH)
    assert geometry.quench(clearance, 0.041 * INCH) == pytest.approx(0.031 * INCH)
    assert geometry.deck_volume(4 * INCH, clearance) == pytest.approx(-np.pi * 4 * 0.010 * INCH**3)


def test_a_compression_height_that_overfills_the_block_is_refused() -> None:
    with pytest.raises(InputConflict, match="no compression height") as refused:
        geometry.compression_height_from_deck(0.2, 0.1, 0.15, 0.001)
    assert "rod" in refused.value.inputs


@pytest.mark.parametrize("rod", [0.03, 0.05])
def test_a_rod_no_longer_than_half_the_stroke_is_refused(rod: float) -> None:
    for refused_by in (
        lambda: geometry.rod_ratio(rod, 0.1),
        lambda: geometry.deck_clearance(0.2, 0.1, rod, 0.03),
        lambda: geometry.effective_compression_ratio(0.1, 0.1, rod, 60 * CC, 60.0),
    ):
        with pytest.raises(InputConflict, match="rod is too short for the stroke") as refused:
            refused_by()
        assert refused.value.inputs[:2] == ("rod", "stroke")


def test_the_parts_of_the_clearance_volume_add_up() -> None:
    gasket = geometry.gasket_volume(4.1 * INCH, 0.040 * INCH)
    deck = geometry.deck_volume(4.03 * INCH, 0.005 * INCH)
    land = geometry.top_land_volume(4.03 * INCH, 4.00 * INCH, 0.25 * INCH)
    whole = geometry.clearance_volume(64 * CC, gasket, deck, -6.2 * CC, land)
    by_hand = np.pi / 4 * (4.1**2 * 0.040 + 4.03**2 * 0.005 + (4.03**2 - 4.00**2) * 0.25) * INCH**3
    assert whole == pytest.approx(57.8 * CC + by_hand)
    assert geometry.crown_volume(whole, 64 * CC, gasket, deck, land) == pytest.approx(-6.2 * CC)


def test_no_room_above_the_piston_is_refused_by_name() -> None:
    with pytest.raises(InputConflict, match="no room above the piston") as refused:
        geometry.clearance_volume(40 * CC, 8 * CC, -5 * CC, -43 * CC)
    assert {"chamber_volume", "crown_volume"} <= set(refused.value.inputs)


def test_a_top_land_larger_than_the_bore_is_refused() -> None:
    with pytest.raises(InputConflict, match="would not go in"):
        geometry.top_land_volume(0.1, 0.1, 0.006)


@given(swept=st.floats(20e-6, 2e-3), ratio=ratios)
def test_ratio_and_clearance_are_inverse(swept: float, ratio: float) -> None:
    clearance = geometry.clearance_for_ratio(swept, ratio)
    assert geometry.compression_ratio(swept, clearance) == pytest.approx(ratio, rel=1e-12)


def test_a_ratio_of_one_or_less_is_refused() -> None:
    with pytest.raises(InputConflict, match="greater than 1"):
        geometry.clearance_for_ratio(5e-4, 1.0)


@given(closes=st.floats(-179.0, 179.0))
def test_the_effective_ratio_lies_between_one_and_the_geometric_ratio(closes: float) -> None:
    bore, stroke, rod, clearance = 0.1, 0.09, 0.15, 70 * CC
    whole = geometry.compression_ratio(geometry.swept_volume(bore, stroke), clearance)
    effective = geometry.effective_compression_ratio(bore, stroke, rod, clearance, closes)
    assert 1.0 < effective <= whole * (1 + 1e-12)


def test_closing_at_bottom_dead_centre_gives_the_geometric_ratio() -> None:
    whole = geometry.compression_ratio(geometry.swept_volume(0.1, 0.09), 70 * CC)
    assert geometry.effective_compression_ratio(0.1, 0.09, 0.15, 70 * CC, 0.0) == pytest.approx(whole)


def test_closing_later_or_earlier_costs_the_same() -> None:
    early, late = geometry.effective_compression_ratio(0.1, 0.09, 0.15, 70 * CC, np.array([-50.0, 50.0]))
    assert early == pytest.approx(late)


@pytest.mark.parametrize("closes", [180.0, -180.0, 250.0])
def test_an_intake_that_closes_at_the_top_is_refused(closes: float) -> None:
    with pytest.raises(InputConflict, match="180 degrees") as refused:
        geometry.effective_compression_ratio(0.1, 0.09, 0.15, 70 * CC, closes)
    assert refused.value.inputs == ("intake_closes",)


def test_negative_gasket_thickness_is_refused() -> None:
    with pytest.raises(InputConflict, match="gasket thickness"):
        geometry.quench(0.0, -0.001)


def test_bore_stroke_ratio() -> None:
    assert geometry.bore_stroke_ratio(4.0, 3.2) == pytest.approx(1.25)
