"""Values with units: as written, in SI, and back; and the messages when they cannot be read."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import (
    DIMENSIONS,
    NUMBER,
    UnitProblem,
    check_unit,
    dimension_of,
    parse_quantity,
    parse_range,
    to_unit,
)

EVERY_UNIT = [(name, unit) for name, dimension in DIMENSIONS.items() for unit in dimension.units]


def _error(text: str, dimension: str | None) -> str:
    with pytest.raises(UnitProblem) as caught:
        parse_quantity(text, dimension)
    return str(caught.value)


def _range_error(text: str, dimension: str | None, unit: str | None = None) -> str:
    with pytest.raises(UnitProblem) as caught:
        parse_range(text, dimension, unit)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("4.0305 in", "length", 0.1023747),
        ("102.38 mm", "length", 0.10238),
        ("4.0305in", "length", 0.1023747),
        ("4.0305 IN.", "length", 0.1023747),
        ('4"', "length", 0.1016),
        ("1 15/16 in", "length", 1.9375 * 0.0254),
        ("1-15/16 in", "length", 1.9375 * 0.0254),
        ("11/32 in", "length", 11 / 32 * 0.0254),
        ("3 thou", "length", 3 * 25.4e-6),
        ("-6.2 cc", "volume", -6.2e-6),
        ("−6.2 cc", "volume", -6.2e-6),
        ("6500 rpm", "engine speed", 6500 / 60),
        ("6500 1/min", "engine speed", 6500 / 60),
        ("72 degF", "temperature", 273.15 + 40 / 1.8),
        ("72°F", "temperature", 273.15 + 40 / 1.8),
        ("20 C", "temperature", 293.15),
        ("45 %", "fraction", 0.45),
        ("34°", "angle", 34.0),
        ("1.5e-3 m", "length", 1.5e-3),
        (".5 mm", "length", 0.5e-3),
        ("1.6", NUMBER, 1.6),
        ("12.4 min", "time", 744.0),
    ],
)
def test_a_value_becomes_si(text: str, dimension: str, si: float) -> None:
    assert parse_quantity(text, dimension).si == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    "spelling", ["lbf.ft", "lbf ft", "lb-ft", "ft-lb", "ft lbs", "FT-LBS", "ft.lbf", "lbf-ft", "lb.ft"]
)
def test_every_way_of_writing_foot_pounds_is_the_same_torque(spelling: str) -> None:
    assert parse_quantity(f"65 {spelling}", "torque").si == pytest.approx(88.12817, rel=1e-6)


@pytest.mark.parametrize("spelling", ["in-lb", "in lbs", "lbf.in", "IN.LBF", "lb-in"])
def test_inch_pounds_are_a_twelfth_of_that(spelling: str) -> None:
    assert parse_quantity(f"780 {spelling}", "torque").si == pytest.approx(88.12817, rel=1e-6)


def test_a_pound_is_a_force_on_a_spring_and_a_mass_on_a_balance() -> None:
    assert parse_quantity("125 lb", "force").si == pytest.approx(125 * 4.4482216)
    assert parse_quantity("125 lb", "mass").si == pytest.approx(125 * 0.45359237)
    assert parse_quantity("125 lb", None).dimension == "mass"


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("4.0300 in", "length", "4.0300 in"),
        ("72.40 cc", "volume", "72.40 cc"),
        ("1 15/16 in", "length", "1 15/16 in"),
        ("4.03 IN.", "length", "4.03 in"),
        ("34 °", "angle", "34°"),
        ("1.60", NUMBER, "1.60"),
        ("1e3 rpm", "engine speed", "1e3 rpm"),
    ],
)
def test_a_value_is_shown_as_written(text: str, dimension: str, expected: str) -> None:
    assert parse_quantity(text, dimension).text == expected


@pytest.mark.parametrize(
    ("text", "dimension", "step"),
    [
        ("4.0305 in", "length", 0.0001 * 0.0254),
        ("102.38 mm", "length", 1e-5),
        ("1.5e-3 m", "length", 1e-4),
        ("2e3 rpm", "engine speed", 1000 / 60),
        ("72 degF", "temperature", 1 / 1.8),
        ("3/8 in", "length", 0.0254 / 64),
        ("3/128 in", "length", 0.0254 / 128),
        ("1.60", NUMBER, 0.01),
    ],
)
def test_one_unit_in_the_last_place(text: str, dimension: str, step: float) -> None:
    assert parse_quantity(text, dimension).step == pytest.approx(step)


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("4.0305", "length", "4.0305 has no unit: write 4.0305 in or 4.0305 mm"),
        ("72.4", "volume", "72.4 has no unit: write 72.4 cc"),
        ("3/8", "length", "3/8 has no unit: write 3/8 in or 3/8 mm"),
        ("4,0305 in", "length", "write a decimal point, 4.0305 in"),
        ("9,000 rpm", "engine speed", "write 9000 rpm or, for a decimal, 9.000 rpm"),
        ("0,005 in", "length", "write a decimal point, 0.005 in"),
        ("30 cc", "length", "'cc' is a unit of volume, but this is a length"),
        ("72 deg", "temperature", "'deg' is a unit of angle, but this is a temperature: write it in °F, °C, degF"),
        ("4 furlongs", "length", "unknown unit 'furlongs'"),
        ("4 mmm", "length", "did you mean 'mm'?"),
        ("85 degrees", "engine speed", "an engine speed"),
        ("four inches", "length", "is not a value with a unit: write e.g. 4.0305 in"),
        ("1/0 in", "length", "divides by nought"),
        ("1e999 in", "length", "too large"),
        ("1e308 MPa", "pressure", "too large"),
        ("-500 degF", "temperature", "colder than anything can be"),
        ("9" * 100 + " in", "length", "this long a text (103 characters)"),
        ("1.6 in", NUMBER, "leave out 'in'"),
        ("5 wombats", None, "unknown unit 'wombats'"),
        ("5", None, "5 has no unit: write 5 in or 5 mm"),
        ("", "length", "is not a value with a unit"),
        ("٣ in", "length", "is not a value with a unit"),
    ],
)
def test_an_error_has_the_reason_and_the_fix(text: str, dimension: str | None, message: str) -> None:
    assert message in _error(text, dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "unit", "least", "most"),
    [
        ("0.0025..0.0035 in", "length", None, 0.0025 * 0.0254, 0.0035 * 0.0254),
        ("0.0025..0.0035", "length", "in", 0.0025 * 0.0254, 0.0035 * 0.0254),
        ("2..5 mm", "length", None, 0.002, 0.005),
        ("-1 .. 2 mm", "length", None, -0.001, 0.002),
        ("10..30 degC", "temperature", None, 283.15, 303.15),
        ("1.5..1.7", NUMBER, None, 1.5, 1.7),
        ("55..70 psi", None, None, 55 * 6894.757293, 70 * 6894.757293),
        ("3..3 mm", "length", None, 0.003, 0.003),
    ],
)
def test_a_range(text: str, dimension: str | None, unit: str | None, least: float, most: float) -> None:
    limits = parse_range(text, dimension, unit)
    assert (limits.minimum.si, limits.maximum.si) == (pytest.approx(least), pytest.approx(most))


def test_a_range_is_shown_with_its_unit_once() -> None:
    assert parse_range("0.0025..0.0035 in", "length").text == "0.0025 to 0.0035 in"


@pytest.mark.parametrize(
    ("text", "dimension", "unit", "message"),
    [
        ("0.0035..0.0025 in", "length", None, "is upside down: write 0.0025..0.0035 in"),
        ("0.0025..0.0035", "length", None, "has no unit: write 0.0025..0.0035 in or 0.0025..0.0035 mm"),
        ("0.0025-0.0035 in", "length", None, "write 0.0025..0.0035 in"),
        ("0.0025 in to 0.0035 in", "length", None, "write 0.0025..0.0035 in"),
        ("0.0025 – 0.0035 in", "length", None, "write 0.0025..0.0035 in"),
        ("0.0025...0.0035 in", "length", None, "write 0.0025..0.0035 in"),
        ("1...2 in", "length", None, "write 1..2 in"),
        ("tight", "length", None, "is not a range"),
        ("tight", NUMBER, None, "is not a range"),
        ("1..2 cc", "length", None, "'cc' is a unit of volume"),
        ("1..2 in", NUMBER, None, "leave out 'in'"),
        ("1" * 60_000, "length", None, "this long a text"),
    ],
)
def test_an_error_in_a_range_has_the_reason_and_the_fix(
    text: str, dimension: str | None, unit: str | None, message: str
) -> None:
    assert message in _range_error(text, dimension, unit)


def test_a_declared_unit_is_checked_against_its_dimension() -> None:
    check_unit("IN", "length")
    check_unit("psi", None)
    for unit, dimension, message in (
        ("cc", "length", "unit of volume"),
        ("in", NUMBER, "leave the unit out"),
        ("x", None, "unknown"),
    ):
        with pytest.raises(UnitProblem, match=message):
            check_unit(unit, dimension)


@pytest.mark.parametrize(("dimension", "unit"), EVERY_UNIT)
def test_every_unit_converts_there_and_back(dimension: str, unit: str) -> None:
    quantity = parse_quantity(f"300.25 {unit}", dimension)
    assert quantity.dimension == dimension
    assert quantity.unit == unit
    assert to_unit(quantity.si, unit, dimension) == pytest.approx(300.25, rel=1e-12)
    assert dimension_of(unit) is not None


@pytest.mark.parametrize("name", DIMENSIONS)
def test_the_units_a_dimension_names_for_itself_are_its_own(name: str) -> None:
    dimension = DIMENSIONS[name]
    assert {dimension.inch, dimension.metric} <= set(dimension.units)
    assert parse_quantity(dimension.example, name).dimension == name


@given(st.text(max_size=120), st.sampled_from([None, NUMBER, *DIMENSIONS]))
def test_any_text_is_a_quantity_or_a_message(text: str, dimension: str | None) -> None:
    try:
        quantity = parse_quantity(text, dimension)
    except UnitProblem:
        pass
    else:
        assert math.isfinite(quantity.si)
        assert math.isfinite(float(quantity.number))
        assert quantity.step > 0
        assert parse_quantity(quantity.text, quantity.dimension).si == quantity.si


@given(st.from_regex(r"[-+.0-9e ,/–]{0,20}(\.\.)?[-+.0-9e ,/]{0,12} ?(in|mm|cc|psi|rpm|%|degF|)", fullmatch=True))
def test_any_near_miss_of_a_range_is_a_range_or_a_message(text: str) -> None:
    for dimension in (None, NUMBER, "length", "temperature"):
        try:
            limits = parse_range(text, dimension)
        except UnitProblem:
            continue
        else:
            assert limits.minimum.si <= limits.maximum.si


@given(
    value=st.decimals(min_value=-9999, max_value=9999, places=4).map(str),
    chosen=st.sampled_from([(d, u) for d, u in EVERY_UNIT if d != "temperature"]),
)
def test_a_shown_value_reads_back_as_the_same(value: str, chosen: tuple[str, str]) -> None:
    dimension, unit = chosen
    quantity = parse_quantity(f"{value} {unit}", dimension)
    assert parse_quantity(quantity.text, dimension) == quantity


@pytest.mark.parametrize(
    ("text", "dimension", "system"),
    [
        ("4.03 in", "length", "inch"),
        ("2.35 cm²", "area", "metric"),
        ("180 mm²", "area", "metric"),
        ("752 mm Hg", "pressure", "metric"),
        ("29.61 in Hg", "pressure", "inch"),
        ("34 deg", "angle", "both"),
        ("1.6", NUMBER, "both"),
    ],
)
def test_a_value_belongs_to_the_system_of_its_unit(text: str, dimension: str, system: str) -> None:
    assert parse_quantity(text, dimension).system == system


def test_a_unit_is_printed_with_its_sign_or_raised_figure() -> None:
    assert [printed_unit(name) for name in ("degF", "cm2", "lbf.ft", "psi")] == ["°F", "cm²", "lbf ft", "psi"]
