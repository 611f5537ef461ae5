"""How values are written: number, unit and uncertainty, in either system. Conversions: NIST SP 811, appendix B."""

from __future__ import annotations

import pytest

from builder.figures.core import display_units as units
from builder.figures.core.display_units import (
    DisplayUnit,
    convert_to_other_system,
    join_unit,
    mean_quantity,
    number_in_other_system,
    written_number,
)
from builder.figures.core.working_text import number_and_uncertainty
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import parse_quantity

INCH, HP = 0.0254, 745.6998715822702


def texts_of(unit: DisplayUnit, value: float, expanded: float) -> tuple[str, str | None]:
    shown = number_and_uncertainty(unit, value, expanded, "metric")
    return shown.number, shown.uncertainty_text


@pytest.mark.parametrize(
    ("number", "unit", "text"),
    [("0.048", "in", "0.048\N{NO-BREAK SPACE}in"), ("9.51", ":1", "9.51:1"), ("13", "°", "13°"), ("1.6", "", "1.6")],
)
def test_a_ratio_and_a_degree_join_their_number(number: str, unit: str, text: str) -> None:
    assert join_unit(number, unit) == text


def test_a_value_in_either_system() -> None:
    assert units.LENGTH.text(0.048 * INCH, "inch") == "0.0480\N{NO-BREAK SPACE}in"
    assert units.LENGTH.text(0.048 * INCH, "metric") == "1.219\N{NO-BREAK SPACE}mm"
    assert units.POWER.text(413 * HP, "inch", with_unit=False) == "413.0"
    assert units.TORQUE.label("inch") == "lbf ft"


def test_digits_end_where_the_uncertainty_begins() -> None:
    assert units.LENGTH.text(0.04812 * INCH, "inch", 0.001 * INCH, with_unit=False) == "0.048"
    assert units.SPEED.text(4923 / 60, "inch", 20 / 60, with_unit=False) == "4920"


def test_a_value_that_rounds_to_zero_has_no_sign() -> None:
    assert units.LENGTH.text(-1e-9, "metric", with_unit=False) == "0.000"
    assert units.LENGTH.text(-0.005 * INCH, "inch", with_unit=False) == "−0.0050"


def test_two_digits_of_an_uncertainty_that_begins_with_one() -> None:
    """46 ± 11 does not become 50 ± 10. JCGM 100, 7.2.6: rounding must not change an uncertainty by much."""
    assert texts_of(units.FORCE, 46.2, 11.0) == ("46", "11")
    assert texts_of(units.FORCE, 46.2, 7.0) == ("46", "7")


def test_one_more_decimal_for_a_small_uncertainty_and_none_for_a_tiny_one() -> None:
    assert texts_of(units.COMPRESSION, 10.4217, 0.004) == ("10.422", "0.004")
    assert texts_of(units.COMPRESSION, 10.4217, 1e-6) == ("10.42", None)


def test_the_value_shown_is_known_as_a_number_too() -> None:
    shown = number_and_uncertainty(units.COMPRESSION, 10.4217, 0.004, "metric")
    assert (shown.value, shown.step) == pytest.approx((10.422, 0.001))
    assert units.LENGTH.as_shown(0.04812 * INCH, "inch", 0.001 * INCH) == pytest.approx(0.048 * INCH)
    assert units.TEMPERATURE.as_shown(293.36, "inch") == pytest.approx((68 + 459.67) * 5 / 9)


def test_lengths_are_never_shown_coarser_than_the_trade_reads_them() -> None:
    """0.001 in and 0.01 mm: common practice, no source."""
    assert units.LENGTH.text(0.5604 * INCH, "inch", 0.08 * INCH, with_unit=False) == "0.560"
    assert units.LENGTH.text(1.0 * INCH, "inch", 1.0 * INCH, with_unit=False) == "1.000"
    assert units.LENGTH.text(14.2e-3, "metric", 2e-3, with_unit=False) == "14.20"
    assert texts_of(units.LENGTH, 3.1e-3, 0.3e-3) == ("3.10", "0.30")


def test_a_half_rounds_away_from_zero() -> None:
    assert units.ANGLE.text(0.25, "metric", 0.1, with_unit=False) == "0.3"
    assert units.ANGLE.text(-0.25, "metric", 0.1, with_unit=False) == "−0.3"
    assert units.COUNT.text(2.5, "metric", with_unit=False) == "3"
    assert number_in_other_system(parse_quantity("0.5 in", "length")) == ("13", "mm")


def test_a_written_value_in_the_other_system() -> None:
    torque = parse_quantity("65 lbf.ft", "torque")
    assert number_in_other_system(torque) == ("88", "N m")
    assert convert_to_other_system(torque) == "88\N{NO-BREAK SPACE}N m"
    assert number_in_other_system(parse_quantity("72.4 cc", "volume")) is None
    assert written_number(parse_quantity("-0.5 deg", "angle")) == "−0.5"


def test_a_mean_has_one_digit_more_than_its_readings() -> None:
    readings = tuple(parse_quantity(f"{number} in", "length") for number in ("4.030", "4.031", "4.031"))
    assert mean_quantity(Reading("length", measured=readings)).number == "4.0307"
