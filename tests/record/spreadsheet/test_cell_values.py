"""Cells are read as they are written: digits, units, decimal commas, days."""

from __future__ import annotations

import datetime

import pytest

from builder.record.spreadsheet.cell_values import CellProblem, Dialect, cells_of, is_blank, read_cell
from builder.record.spreadsheet.table import SheetCell
from builder.record.spreadsheet.targets import FieldTarget, parse_target


def target(path: str) -> FieldTarget:
    found = parse_target(path)
    assert isinstance(found, FieldTarget), found
    return found


def read(text: str, path: str, unit: str = "", dialect: Dialect | None = None) -> str:
    return "; ".join(value.written for value in read_cell(SheetCell(text), target(path), unit, dialect or Dialect()))


BORE, SPEED, DAY = "bottom_end.block.bores", "delivery.settings.idle_speed", "finished"


@pytest.mark.parametrize(
    ("text", "written"),
    {
        "4.0305": "4.0305 in", "4.030": "4.030 in", ".030": ".030 in", "4": "4 in", "-0.5": "-0.5 in",
        "4,0305": "4.0305 in", "4.030 mm": "4.030 mm", '4.030"': '4.030 "', "1 15/16": "1 15/16 in",
        "7/16 in": "7/16 in",
        "4.0305; 4.0304 ;4.0306": "4.0305 in; 4.0304 in; 4.0306 in", "4.0305\n4.0304": "4.0305 in; 4.0304 in",
    }.items(),
)  # fmt: skip
def test_a_quantity_keeps_its_digits_and_takes_the_unit_nearest_to_it(text: str, written: str) -> None:
    assert read(text, BORE, "in") == written


def test_a_number_with_one_mark_is_read_by_what_the_field_allows_then_by_the_mark_of_the_sheet() -> None:
    assert read("4,030", BORE, "in") == "4.030 in"  # 4030 in is no bore
    assert read("1,200", SPEED, "rpm") == "1200 rpm"  # 1.2 rpm is no idle speed
    assert read("1.234,5", "top_end.springs.rate", "N/mm") == "1234.5 N/mm"
    assert read("1,234.5", "top_end.springs.rate", "N/mm") == "1234.5 N/mm"
    assert read("2,345", "work.operations[honing].after", "mm", Dialect(",")) == "2.345 mm"
    assert read("2,345", "work.operations[honing].after", "mm", Dialect(".")) == "2345 mm"
    with pytest.raises(CellProblem, match=r"can be read as 2345 or 2\.345: write decimal_mark"):
        read("2,345", "work.operations[honing].after", "mm")


@pytest.mark.parametrize("text", ["about four", "4,0,3", "4.03.01", "#REF", "ok", ".0022-.0026"])
def test_what_is_no_number_is_a_problem(text: str) -> None:
    with pytest.raises(CellProblem):
        read(text, BORE, "in")


def test_a_range() -> None:
    allowed = "assembly.fits.main_oil_clearance.allowed"
    assert read("0.0022-0.0030", allowed, "in") == "0.0022..0.0030 in"
    assert read("0,05..0,08 mm", allowed) == "0.05..0.08 mm"
    with pytest.raises(CellProblem, match="is not a range"):
        read("0.0022", allowed, "in")


@pytest.mark.parametrize(
    ("text", "day"),
    {
        "1998-05-17": "1998-05-17", "17.05.1998": "1998-05-17", "17.5.98": "1998-05-17", "17/05/1998": "1998-05-17",
        "05/17/1998": "1998-05-17", "5-17-1998": "1998-05-17", "May 17, 1998": "1998-05-17",
        "17 May 1998": "1998-05-17",
        "17-May-98": "1998-05-17", "35932": "1998-05-17", "1998-05-17 00:00:00": "1998-05-17", "4/4/1998": "1998-04-04",
    }.items(),
)  # fmt: skip
def test_days_in_the_forms_that_leave_nothing_open(text: str, day: str) -> None:
    """Source of the numbers: days since 1899-12-30, as spreadsheet programs count (ECMA-376 part 1, 18.17.4.1)."""
    assert read(text, DAY) == day


def test_a_day_that_can_be_two_asks_for_the_order() -> None:
    with pytest.raises(CellProblem, match="write date_order in the map"):
        read("3/4/1998", DAY)
    assert read("3/4/1998", DAY, dialect=Dialect(date_order="day-month")) == "1998-04-03"
    assert read("3/4/1998", DAY, dialect=Dialect(date_order="month-day")) == "1998-03-04"
    assert read("35932", DAY, dialect=Dialect(first_day=datetime.date(1904, 1, 1))) == "2002-05-18"


@pytest.mark.parametrize("text", ["2001-02-30", "summer", "1998", "13/13/1998", "999999", "0"])
def test_what_is_no_day_is_a_problem(text: str) -> None:
    with pytest.raises(CellProblem):
        read(text, DAY)


@pytest.mark.parametrize(
    ("text", "count"), {"8": "8", "8.0": "8", "V8": "8", "V-8": "8", "inline 6": "6", "8 cyl": "8"}.items()
)
def test_a_count(text: str, count: str) -> None:
    assert read(text, "engine.cylinders") == count


def test_a_choice_without_its_number_and_a_text_with_its_unit() -> None:
    assert read("inline 6", "engine.layout") == "inline"
    assert read("V8", "engine.layout") == "V8"
    assert read("0.022", "delivery.settings.intake_lash", "in") == "0.022 in"
    assert read("0.022 hot", "delivery.settings.intake_lash", "in") == "0.022 hot"


@pytest.mark.parametrize("text", ["", "-", "n/a", "N/A", "?", "unknown", "TBD"])
def test_what_says_nothing_is_blank(text: str) -> None:
    assert is_blank(SheetCell(text))


def test_na_is_no_blank_since_it_is_an_induction() -> None:
    assert not is_blank(SheetCell("NA"))


def test_a_value_at_a_speed_fills_both_fields() -> None:
    parts = cells_of(SheetCell("412 @ 6100"), [target("dyno.noted_result.power")])
    assert [(field.path, part.text) for field, part in parts] == [
        ("dyno.noted_result.power", "412"),
        ("dyno.noted_result.power_at", "6100 rpm"),
    ]
    assert len(cells_of(SheetCell("412"), [target("dyno.noted_result.power")])) == 1


def test_a_cell_is_divided_between_two_fields() -> None:
    bore, stroke = target("bottom_end.block.bores"), target("bottom_end.crankshaft.stroke")
    assert [part.text for _, part in cells_of(SheetCell("4.03 x 3.48"), [bore, stroke])] == ["4.03", "3.48"]
    both = [target("cam.card.intake.valve_lift"), target("cam.card.exhaust.valve_lift")]
    assert [part.text for _, part in cells_of(SheetCell("0.503/0.512"), both)] == ["0.503", "0.512"]
    (only,) = cells_of(SheetCell("0.503"), both)
    assert "is not 2 values" in only[1].error
