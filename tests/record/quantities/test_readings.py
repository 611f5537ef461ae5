"""Readings in their short and long forms, and errors placed where they stand."""
# ruff: noqa: E501  (one case, one line)

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from builder.record.quantities.readings import Reading, read_reading
from builder.record.quantities.unit_table import NUMBER
from builder.record.yaml_loader import parse_yaml

INCH = 0.0254


def _given(text: str) -> Any:
    from pathlib import Path

    document, problems = parse_yaml(f"x: {text}".encode(), Path("x.yaml"))
    assert not problems
    assert document is not None
    return document.value["x"]


def _read(text: str, dimension: str | None = "length") -> Reading:
    return read_reading(_given(text), dimension)


def _errors(text: str, dimension: str | None = "length") -> list[tuple[tuple[str | int, ...], str]]:
    with pytest.raises(ValidationError) as caught:
        _read(text, dimension)
    return [(error["loc"], error["msg"]) for error in caught.value.errors()]


def test_a_value_alone_is_as_listed() -> None:
    reading = _read("3.480 in")
    assert reading.listed is not None
    assert reading.listed.text == "3.480 in"
    assert not reading.is_measured
    assert list(reading.values) == [pytest.approx(3.48 * INCH)]


def test_a_list_alone_is_as_measured() -> None:
    reading = _read("[4.0305 in, 4.0304 in]")
    assert reading.is_measured
    assert [quantity.text for quantity in reading.preferred] == ["4.0305 in", "4.0304 in"]


def test_a_declared_unit_counts_for_every_bare_number() -> None:
    reading = _read(
        "{unit: in, listed: 4.030, measured: [4.0305, '4.0304', 102.37 mm], allowed: 4.0300..4.0310, resolution: 0.0001}"
    )
    assert list(reading.values) == pytest.approx([4.0305 * INCH, 4.0304 * INCH, 0.10237])
    assert reading.measured[1].text == "4.0304 in"
    assert reading.measured[2].text == "102.37 mm"
    assert reading.minimum is not None
    assert reading.minimum.si == pytest.approx(4.03 * INCH)
    assert reading.resolution is not None


def test_measured_wins_over_repeats_and_listed() -> None:
    assert _read("{listed: 1.760 in, measured: 1.661 in}").preferred[0].text == "1.661 in"
    repeats = _read("{unit: in, listed: 1.760, repeats: [1.660, 1.662]}")
    assert repeats.is_measured
    assert list(repeats.values) == [pytest.approx(1.661 * INCH)]


def test_limits_of_the_allowed_range() -> None:
    both = _read("{unit: in, at_least: 0.018, at_most: 0.022, measured: 0.020}")
    assert (both.minimum, both.maximum) == (both.at_least, both.at_most)
    assert _read("{allowed: 0.002..0.003 in}").preferred == ()


def test_remarks_of_a_reading() -> None:
    reading = _read(
        "{unit: in, measured: 0.0040, rule: maker's sheet, by: RT, note: '  cold\n  room ', accepted: {why: old crank, by: RT}}"
    )
    assert (reading.rule, reading.by, reading.note) == ("maker's sheet", "RT", "cold room")
    assert reading.accepted is not None
    assert (reading.accepted.why, reading.accepted.by) == ("old crank", "RT")


def test_a_plain_number() -> None:
    assert list(_read("1.6", NUMBER).values) == [1.6]
    reading = _read("{measured: [1.58, 1.60], allowed: 1.5..1.7}", NUMBER)
    assert reading.minimum is not None
    assert reading.minimum.si == 1.5


def test_the_unit_gives_the_dimension_where_the_field_does_not() -> None:
    assert _read("6.5 psi", None).dimension == "pressure"
    assert _read("{unit: psi, allowed: 55..70}", None).dimension == "pressure"


@pytest.mark.parametrize(
    ("text", "dimension", "place", "message"),
    [
        ("4.0305", "length", (), "4.0305 has no unit: write 4.0305 in or 4.0305 mm"),
        ("yes", "length", (), "is yes/no; write one value, e.g. 4.0305 in"),
        ("[4.03 in, 5]", "length", ("measured", 1), "5 has no unit"),
        ("[4.03 in, [5 in]]", "length", ("measured", 1), "is a list"),
        ("[4.03 in, ~]", "length", ("measured", 1), "is empty"),
        ("[64.2, 64.0, 64.1, 64.2]", "volume", ("measured", 0), "write {unit: cc, measured: [64.2, 64.0, 64.1, ...]}"),
        ("{measured: [64.2, 64.0]}", "volume", ("measured", 0), "these readings have no unit"),
        ("{unit: cc, measured: [4, 5]}", "length", ("unit",), "'cc' is a unit of volume, but this is a length"),
        ("{unit: 5, measured: 4}", "length", ("unit",), "is a word such as in"),
        ("{unit: in, measured: 1.6}", NUMBER, ("unit",), "leave the unit out"),
        ("{lsited: 4 in}", "length", ("lsited",), "did you mean 'listed'?"),
        ("{listed: 4 in, colour: red}", "length", ("colour",), "known are listed, measured, returned"),
        ("{listed: 4 in, measured: 5 cc}", None, (), "mixes length and volume"),
        ("{measured: 3 mm, allowed: 1..2 psi}", None, (), "mixes length and pressure"),
        ("{}", "length", (), "holds no value: give listed, measured or both"),
        ("{resolution: 0.001 in}", "length", (), "holds no value"),
        ("{unit: in, note: later}", "length", (), "holds no value"),
        ("{allowed: 0.003..0.002 in}", "length", ("allowed",), "upside down: write 0.002..0.003 in"),
        ("{unit: in, allowed: 0.003..0.002}", "length", ("allowed",), "upside down: write 0.002..0.003 in"),
        ("{unit: in, at_least: 0.02, at_most: 0.01}", "length", ("at_least",), "0.02 in is more than at_most, 0.01 in: swap the two"),
        ("{unit: in, allowed: 1..2, at_least: 1, measured: 1}", "length", ("allowed",), "keep one way"),
        ("{unit: in, allowed: [1, 2]}", "length", ("allowed",), "is one range"),
        ("{listed: 4 in, accepted: yes}", "length", ("accepted",), "write why it was accepted and by whom"),
        ("{listed: 4 in, accepted: {why: worn}}", "length", ("accepted",), "by whom"),
        ("{listed: 4 in, accepted: {why: [a], by: b}}", "length", ("accepted", "why"), "is text"),
        ("{listed: 4 in, note: [a]}", "length", ("note",), "is text"),
        (f"{{listed: 4 in, note: {'x' * 500}}}", "length", ("note",), "longer than 400"),
        (f"{{unit: in, measured: [{', '.join(['1'] * 401)}]}}", "length", ("measured",), "holds 401 readings; at most 400"),
        ("abc", NUMBER, (), "is not a value with a unit: write e.g. 1.6"),
    ],
)  # fmt: skip
def test_errors_have_their_location_and_a_fix(
    text: str, dimension: str | None, place: tuple[str, ...], message: str
) -> None:
    errors = _errors(text, dimension)
    assert any(location == place and message in error for location, error in errors), errors


def test_all_errors_are_reported_at_once_and_a_wrong_unit_only_once() -> None:
    assert len(_errors("{listed: 4 cc, measured: [5 in, 6 psi], note: [x]}")) == 3
    assert len(_errors("{unit: bushels, measured: [1, 2, 3], allowed: 1..2}")) == 1


def test_a_plain_number_has_no_unit() -> None:
    ((_, error),) = _errors("1.6 in", NUMBER)
    assert "leave out 'in'" in error


def test_the_level_of_a_setting_may_be_a_plain_number() -> None:
    """A jet is known by its number."""
    from builder.record.models.dyno import Setting

    jet = Setting.model_validate({"name": "main jet", "level": 125})
    assert (jet.level.si, jet.level.text) == (125.0, "125")
    advance = Setting.model_validate({"name": "advance", "level": "33 deg"})
    assert (advance.level.si, advance.level.unit) == (33.0, "deg")
