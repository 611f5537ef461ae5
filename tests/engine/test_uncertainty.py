"""First-order propagation: slopes, chains that share a root, and what positions do to a mean."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import geometry, uncertainty
from builder.engine.validation import InputConflict, Value


def test_resolution_and_repeats() -> None:
    assert uncertainty.from_resolution(0.0001) == pytest.approx(0.0001 / np.sqrt(12))
    readings = [[1.0, 2.0, 3.0, 4.0], [5.0, 5.0, 5.0, 5.0]]
    np.testing.assert_allclose(uncertainty.from_repeats(readings), [np.sqrt(5 / 3) / 2, 0.0])
    with pytest.raises(InputConflict, match="two or more"):
        uncertainty.from_repeats([1.0])


def test_a_root_combines_what_is_known_about_it() -> None:
    assert uncertainty.root("bore", 3.0, 4.0) == {"bore": 5.0}
    with pytest.raises(InputConflict, match="no uncertainty was given for bore"):
        uncertainty.root("bore")
    with pytest.raises(InputConflict, match="cannot be less than zero"):
        uncertainty.root("bore", -1.0)


@given(bore=st.floats(0.05, 0.15), stroke=st.floats(0.04, 0.15))
def test_slopes_of_the_swept_volume_are_the_known_ones(bore: float, stroke: float) -> None:
    slopes = uncertainty.partials(geometry.swept_volume, {"bore": bore, "stroke": stroke})
    assert slopes["bore"] == pytest.approx(np.pi / 2 * bore * stroke, rel=1e-8)
    assert slopes["stroke"] == pytest.approx(np.pi / 4 * bore**2, rel=1e-8)


def test_slopes_are_taken_position_by_position() -> None:
    bores = np.array([0.10, 0.11, 0.12])
    slopes = uncertainty.partials(geometry.swept_volume, {"bore": bores, "stroke": 0.09})
    np.testing.assert_allclose(slopes["bore"], np.pi / 2 * bores * 0.09, rtol=1e-8)
    np.testing.assert_allclose(slopes["stroke"], np.pi / 4 * bores**2, rtol=1e-8)


def test_counts_are_left_out() -> None:
    values: dict[str, Value] = {"swept_volume": 7e-4, "cylinders": 8}
    slopes = uncertainty.partials(geometry.displacement, values, names=("swept_volume",))
    assert slopes == {"swept_volume": pytest.approx(8.0)}
    with pytest.raises(InputConflict, match="cylinders cannot be varied"):
        uncertainty.partials(geometry.displacement, values)


def test_at_the_edge_of_the_possible_the_slope_is_one_sided() -> None:
    slopes = uncertainty.partials(geometry.gasket_volume, {"gasket_bore": 0.1, "gasket_thickness": 0.0})
    assert slopes["gasket_thickness"] == pytest.approx(np.pi / 4 * 0.01)
    assert slopes["gasket_bore"] == 0.0


def test_impossible_values_are_refused_as_the_function_refuses_them() -> None:
    with pytest.raises(InputConflict, match="bore must be greater than zero"):
        uncertainty.partials(geometry.swept_volume, {"bore": -0.1, "stroke": 0.09})


def test_a_root_that_reaches_a_figure_twice_counts_with_its_signs() -> None:
    bore = uncertainty.root("bore", 2.0)
    stroke = uncertainty.root("stroke", 3.0)
    total = uncertainty.chain({"a": 5.0, "b": -4.0}, {"a": bore, "b": bore | stroke})
    assert total == {"bore": 2.0, "stroke": -12.0}
    cancelled = uncertainty.chain({"a": 1.0, "b": -1.0}, {"a": bore, "b": bore})
    assert uncertainty.combine(cancelled) == 0.0
    with pytest.raises(InputConflict, match="no slope"):
        uncertainty.chain({"a": 1.0}, {"b": bore})


def test_the_same_figure_by_a_chain_and_in_one_step() -> None:
    bore, stroke, rest = 0.1024, 0.0884, 70e-6
    roots = {"bore": uncertainty.root("bore", 4e-6), "deck": uncertainty.root("deck", 2e-5)}

    def ratio(bore: Value, deck: Value) -> Value:
        swept = geometry.swept_volume(bore, stroke)
        return geometry.compression_ratio(swept, rest + np.asarray(geometry.deck_volume(bore, deck)))

    direct = uncertainty.chain(uncertainty.partials(ratio, {"bore": bore, "deck": 0.004}), roots)

    swept = uncertainty.chain(
        uncertainty.partials(geometry.swept_volume, {"bore": bore, "stroke": stroke}), {"bore": roots["bore"]}
    )
    deck = uncertainty.chain(
        uncertainty.partials(geometry.deck_volume, {"bore": bore, "deck_clearance": 0.004}),
        {"bore": roots["bore"], "deck_clearance": roots["deck"]},
    )
    volumes: dict[str, Value] = {
        "swept_volume": geometry.swept_volume(bore, stroke),
        "clearance_volume": rest + geometry.deck_volume(bore, 0.004),
    }
    chained = uncertainty.chain(
        uncertainty.partials(geometry.compression_ratio, volumes),
        {"swept_volume": swept, "clearance_volume": deck},
    )
    assert chained["bore"] == pytest.approx(direct["bore"], rel=1e-6)
    assert chained["deck"] == pytest.approx(direct["deck"], rel=1e-6)
    # Taking the two volumes as independent would have overstated it: the bore drives both the same way.
    apart = np.hypot(
        uncertainty.partials(geometry.compression_ratio, volumes)["swept_volume"] * swept["bore"],
        uncertainty.partials(geometry.compression_ratio, volumes)["clearance_volume"] * deck["bore"],
    )
    assert abs(chained["bore"]) < apart


def test_separate_readings_average_out_and_shared_ones_do_not() -> None:
    contributions: dict[str, Value] = {"bore": np.full(4, 2.0), "stroke": np.full(4, 3.0), "gasket": 1.0}
    mean = uncertainty.over_positions(contributions, separate=["bore"])
    assert mean == pytest.approx({"bore": 1.0, "stroke": 3.0, "gasket": 1.0})
    with pytest.raises(InputConflict, match="not read at each position"):
        uncertainty.over_positions(contributions, separate=["gasket"])


def test_combined_and_expanded() -> None:
    combined = uncertainty.combine({"a": np.array([3.0, 0.0]), "b": -4.0})
    np.testing.assert_allclose(combined, [5.0, 4.0])
    np.testing.assert_allclose(uncertainty.expanded(combined), [10.0, 8.0])
    assert uncertainty.combine({}) == 0.0
    assert uncertainty.expanded(0.5, 3.0) == 1.5


@pytest.mark.parametrize(
    ("parts", "freedom"),
    [
        ([(4.0, 6.0)], 6.0),
        ([(4.0, 6.0), (4.0, 6.0)], 12.0),
        ([(1.0, 1.0), (2.0, np.inf)], 9.0),
        ([(1.0, 6.9)], 6.75),
        ([(1.0, 0.5)], 1.0),
        ([(0.0, 1.0)], 1e3),
        ([], 1e3),
    ],
)
def test_degrees_of_freedom_of_a_sum(parts: list[tuple[float, float]], freedom: float) -> None:
    assert uncertainty.effective_freedom(*parts) == freedom
