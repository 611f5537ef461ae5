"""The working of a figure as text, and how a figure is written with its uncertainty."""

from __future__ import annotations

import numpy as np
import pytest

from builder.figures.core.types import Axis
from builder.figures.core.working_text import headline, headline_index, outlier_index, position_prefix, working
from tests.support.figure_records import figure_of_value


@pytest.mark.parametrize(
    ("pattern", "texts", "text"),
    [
        ("{a} + {b}", {"a": "0.039 in", "b": "−0.005 in"}, "0.039 in − 0.005 in = 1"),
        ("{a} − {b}", {"a": "0.039 in", "b": "−0.005 in"}, "0.039 in + 0.005 in = 1"),
        ("{a} × {b}", {"a": "2", "b": "−0.005 in"}, "2 × (−0.005) in = 1"),
        ("{a} + {b}", {"a": "6.2 cc"}, "6.2 cc = 1"),
        ("{a} − {b}", {"b": "1.2 cc"}, "−1.2 cc = 1"),
        ("{a} × {b}", {"a": "2"}, "2 × 0 (none recorded) = 1"),
    ],
)
def test_signs_are_tidied_and_missing_terms_left_out(pattern: str, texts: dict[str, str], text: str) -> None:
    assert working(pattern, texts, "1", "") == text


def test_a_reading_in_the_figures_own_unit_is_not_repeated_as_the_result() -> None:
    assert working("by dial gauge: {a}", {"a": "0.012\N{NO-BREAK SPACE}in"}, "0.0120\N{NO-BREAK SPACE}in", "") == (
        "by dial gauge: 0.012\N{NO-BREAK SPACE}in"
    )
    assert working("{a}", {"a": "0.30\N{NO-BREAK SPACE}mm"}, "0.012\N{NO-BREAK SPACE}in", "cylinder 2: ") == (
        "cylinder 2: 0.30\N{NO-BREAK SPACE}mm = 0.012\N{NO-BREAK SPACE}in"
    )


@pytest.mark.parametrize(
    ("kind", "label", "prefix"),
    [("cylinder", "3", "cylinder 3: "), ("lift", "0.050 in", "at 0.050 in: "), ("side", "intake", "intake: ")],
)
def test_the_position_that_the_working_is_for(kind: str, label: str, prefix: str) -> None:
    assert position_prefix(Axis(kind, (label,)), 0) == prefix


def test_the_value_of_a_figure_with_positions() -> None:
    values = np.array([2.0, 1.0, 6.0])
    assert [headline(kind, values) for kind in ("mean", "first", "least", "most")] == [3.0, 2.0, 1.0, 6.0]
    assert [headline_index(kind, values) for kind in ("mean", "first", "least", "most")] == [0, 0, 1, 2]


def test_neither_a_last_digit_nor_scatter_makes_an_outlier() -> None:
    assert outlier_index(np.array([1.000, 1.001, 0.999, 1.010]), 0.001) == 3
    assert outlier_index(np.array([1.000, 1.000, 1.000, 1.001]), 0.001) is None
    assert outlier_index(np.array([1.000, 1.004, 0.996, 1.010]), 0.001) is None
    assert outlier_index(np.array([1.0, 2.0]), 0.001) is None


def test_a_figure_with_its_uncertainty() -> None:
    figure = figure_of_value("compression_ratio", 10.42, "10.42", ":1")
    assert figure.display == "10.42:1"
    uncertain = figure_of_value("compression_ratio", 10.42, "10.42", ":1", "0.05")
    assert uncertain.display == "10.42 ± 0.05"
    power = figure_of_value("peak_power", 1.0, "413.0", "hp", "2.1")
    assert power.display == "413.0 ± 2.1\N{NO-BREAK SPACE}hp"
