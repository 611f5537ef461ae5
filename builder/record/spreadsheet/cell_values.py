"""Read a cell for a field: the value as YAML takes it, with the digits and the unit of the sheet."""

from __future__ import annotations

import contextlib
import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from builder.record.dyno_log.encoding import number
from builder.record.models.choices import choice_key
from builder.record.quantities.units import NUMBER, factor
from builder.record.spreadsheet.table import SheetCell
from builder.record.spreadsheet.targets import FieldTarget, parse_target
from builder.record.usual_units import plausible_limits

BLANKS = frozenset(("", "-", "--", "–", "—", "?", "n/a", "tbd", "tba", "unknown"))
"""What a cell holds where nothing is known."""

DateOrder = Literal["day-month", "month-day"]
Mark = Literal[".", ","]

_SEPARATORS = re.compile(r"\s*(?:;|\n)\s*")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,'][0-9]+)*(?:[.,](?![.,0-9]))?(?:[eE][+-]?[0-9]+)?|[.,][0-9]+)")
_FRACTION = re.compile(r"[0-9]+[ -][0-9]+/[0-9]+|[0-9]+/[0-9]+")
_BOTH = re.compile(r"\s*[/x×]\s*")
_AT_SPEED = re.compile(r"(.+?)\s*(?:@|\bat\b)\s*([0-9][0-9.,]*)\s*(?:rpm)?", re.IGNORECASE)
_SPEED_OF = {
    "dyno.noted_result.power": "dyno.noted_result.power_at",
    "dyno.noted_result.torque": "dyno.noted_result.torque_at",
    "delivery.settings.total_timing": "delivery.settings.total_timing_by",
}
"""Fields whose value belongs to an engine speed, and the field of that speed."""
_AT_END = re.compile(r"[0-9]+\Z")
_DAY = re.compile(r"(?P<first>[0-9]{1,4})(?P<mark>[./-])(?P<second>[0-9]{1,2})(?P=mark)(?P<third>[0-9]{1,4})")
_DAYS_IN_WORDS = ("%d %B %Y", "%d %b %Y", "%B %d %Y", "%b %d %Y", "%d %b %y")
_EARLIEST, _LATEST = 7_000, 80_000
"""Days since 1899-12-30 that are dates of builds: 1919 to 2119."""


class CellProblem(ValueError):
    """A cell that cannot be read for its field; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """How numbers and days are written in a sheet, as its map says or its cells show."""

    decimal_mark: Mark | None = None
    date_order: DateOrder | None = None
    first_day: datetime.date = datetime.date(1899, 12, 30)


@dataclass(frozen=True, slots=True)
class Value:
    """The value of a cell: its text, and its unit where it has one; several for a list in one cell."""

    text: str
    unit: str = ""

    @property
    def written(self) -> str:
        """The value with its unit."""
        return f"{self.text} {self.unit}" if self.unit else self.text


def is_blank(cell: SheetCell) -> bool:
    """Return whether a cell says nothing."""
    return not cell.error and cell.text.casefold() in BLANKS


def read_cell(cell: SheetCell, target: FieldTarget, unit: str, dialect: Dialect) -> tuple[Value, ...]:
    """Return the values in a cell, one unless it holds a list. Raises CellProblem."""
    if cell.error:
        raise CellProblem(cell.error)
    if target.kind == "day":
        return (Value(_day(cell, dialect)),)
    if target.kind == "text":
        return (_text(cell, unit),)
    if target.kind == "list":
        return tuple(Value(line) for line in _SEPARATORS.split(cell.text) if line)
    if target.kind == "choice":
        return (Value(_choice(cell.text, target)),)
    if target.kind == "count":
        return (Value(_count(cell, dialect)),)
    parts = [cell.text] if cell.is_number or target.kind == "range" else _SEPARATORS.split(cell.text)
    return tuple(_quantity(part, cell, target, unit, dialect) for part in parts if part)


def cells_of(cell: SheetCell, targets: Sequence[FieldTarget]) -> list[tuple[FieldTarget, SheetCell]]:
    """Return the cell for each of the fields of its column.

    `218/224` and `4.03 x 3.48` are divided between two quantities; `412 @ 6100` between it and its speed.
    """
    if cell.error or not all(target.takes_unit for target in targets):
        return [(target, cell) for target in targets]
    if len(targets) == 1:
        match = _AT_SPEED.fullmatch(cell.text)
        sibling = parse_target(_SPEED_OF[targets[0].path]) if match and targets[0].path in _SPEED_OF else None
        if match is None or not isinstance(sibling, FieldTarget):
            return [(targets[0], cell)]
        return [(targets[0], SheetCell(match[1])), (sibling, SheetCell(f"{match[2]} rpm"))]
    parts = _BOTH.split(cell.text)
    if len(parts) != len(targets):
        problem = f"{cell.text[:60]!r} is not {len(targets)} values: write them with a slash between, as in 218/224"
        return [(targets[0], SheetCell(error=problem))]
    return [(target, SheetCell(part)) for target, part in zip(targets, parts, strict=True)]


def plain_number(text: str, dialect: Dialect, fits: Callable[[float], bool] | None = None) -> str:
    """Return a number with a decimal point and without separators of thousands.

    Where a mark may be either, the reading that ``fits`` the field alone is taken, else that of the sheet's mark.
    Raises CellProblem.
    """
    if not ("," in text or "'" in text or ("." in text and dialect.decimal_mark == ",")):
        if number(text, ".") is None and "/" not in text:
            raise CellProblem(f"{text[:60]!r} is not a number")
        return text
    readings: dict[Mark, float | None] = {".": number(text, "."), ",": number(text, ",")}
    possible = {mark: value for mark, value in readings.items() if value is not None}
    if not possible:
        raise CellProblem(f"{text[:60]!r} is not a number")
    fitting = [mark for mark, value in possible.items() if fits is not None and fits(value)]
    if len(fitting) == 1:
        mark = fitting[0]
    elif dialect.decimal_mark in possible:
        mark = dialect.decimal_mark
    elif len(set(possible.values())) == 1:
        mark = next(iter(possible))
    else:
        readings_shown = " or ".join(f"{value:g}" for value in possible.values())
        raise CellProblem(f"{text!r} can be read as {readings_shown}: write decimal_mark in the map, '.' or ','")
    return re.sub(r"[,' ]" if mark == "." else r"[.' ]", "", text).replace(",", ".")


def _quantity(part: str, cell: SheetCell, target: FieldTarget, unit: str, dialect: Dialect) -> Value:
    """Return a number, fraction or range with its unit: that of the cell, else that of the column."""
    text = part.replace("\N{MINUS SIGN}", "-").strip()
    if target.kind == "range":
        return _range(text, unit, dialect)
    match = _FRACTION.match(text) or _NUMBER.match(text)
    if match is None:
        example = _NUMBER.search(target.notes.example)
        raise CellProblem(f"{part[:60]!r} is not a number{f': write e.g. {example[0]}' if example else ''}")
    rest = text[match.end() :].strip()
    if _RANGE.fullmatch(text):
        raise CellProblem(
            f"{part[:60]!r} is a range: write one value, or one for each position with semicolons between"
        )
    own = rest or cell.unit
    written = match[0] if cell.is_number else plain_number(match[0], dialect, _is_plausible(target, own or unit))
    if target.dimension == NUMBER:
        return Value(f"{written}{rest}")
    return Value(written, own or unit)


def _is_plausible(target: FieldTarget, unit: str) -> Callable[[float], bool] | None:
    """Return whether a number is one that engines have in a field; None where that is not known."""
    dimension = target.dimension
    limits = plausible_limits(target.notes, dimension) if dimension else None
    if dimension is None or limits is None or (target.takes_unit and target.unit_problem(unit)):
        return None
    scale, offset = factor(unit, dimension) if target.takes_unit else (1.0, 0.0)
    return lambda number: limits[0] <= number * scale + offset <= limits[1]


_RANGE = re.compile(rf"({_NUMBER.pattern})\s*(?:\.\.|-|–|to)\s*({_NUMBER.pattern})\s*(\D.*)?")


def _range(text: str, unit: str, dialect: Dialect) -> Value:
    """Return a range in the form of the record, 0.0025..0.0035, with its unit."""
    match = _RANGE.fullmatch(text)
    if match is None:
        raise CellProblem(f"{text[:60]!r} is not a range: write the least and the most, as in 0.0025..0.0035")
    return Value(f"{plain_number(match[1], dialect)}..{plain_number(match[2], dialect)}", match[3] or unit)


def _text(cell: SheetCell, unit: str) -> Value:
    has_unit = unit and not cell.unit and _NUMBER.fullmatch(cell.text)
    return Value(cell.text, cell.unit or (unit if has_unit else ""))


def _count(cell: SheetCell, dialect: Dialect) -> str:
    """Return a whole number: `8`, `8.0`, or that at the end of `V8` and `inline 6`."""
    text = cell.text
    if re.fullmatch(r"[0-9]+\.0+", text):
        return text.partition(".")[0]
    if re.fullmatch(r"[0-9]+", text):
        return text
    if match := re.fullmatch(r"([0-9]+)\s*(?:cyl|cylinders?|cyls)\.?", text, re.IGNORECASE):
        return match[1]
    if match := re.fullmatch(r"[A-Za-z][A-Za-z -]*([0-9]{1,2})", text):
        return match[1]
    raise CellProblem(f"{text[:60]!r} is not a whole number")


def _choice(text: str, target: FieldTarget) -> str:
    """Return a word for a choice; `inline 6` is inline where only the word is known."""
    words = (word for choice in target.shape.choices for word in (choice, *target.shape.synonyms.get(choice, ())))
    known = {choice_key(word) for word in words}
    without_number = _AT_END.sub("", text).strip(" -")
    return without_number if choice_key(text) not in known and choice_key(without_number) in known else text


def _day(cell: SheetCell, dialect: Dialect) -> str:
    """Return a day as year-month-day."""
    if cell.day is not None:
        return cell.day.isoformat()
    text = cell.text.split(" ")[0] if re.fullmatch(r"\S+ [0-9]{1,2}:[0-9:]+.*", cell.text) else cell.text
    if re.fullmatch(r"[0-9]{4,5}(\.[0-9]+)?", text) and _EARLIEST <= float(text) <= _LATEST:
        return (dialect.first_day + datetime.timedelta(days=int(float(text)))).isoformat()
    match = _DAY.fullmatch(text)
    if match is None:
        for form in _DAYS_IN_WORDS:
            with contextlib.suppress(ValueError):
                return datetime.datetime.strptime(re.sub(r"[\s,.-]+", " ", cell.text), form).date().isoformat()
        raise CellProblem(f"{cell.text[:60]!r} is not a day: write year-month-day, e.g. 2024-05-17")
    first, second, third = int(match["first"]), int(match["second"]), int(match["third"])
    if len(match["first"]) == 4:
        return _existing_day(cell, first, second, third)
    year = third if len(match["third"]) == 4 else third + (1900 if third >= 69 else 2000)
    order = dialect.date_order  # two digits of a year as POSIX reads them: 69 to 99 are of the last century
    if order is None:
        order = "day-month" if match["mark"] == "." or first > 12 else "month-day" if second > 12 else None
    if order is None and first != second:
        raise CellProblem(f"{cell.text[:60]!r} can be day/month or month/day: write date_order in the map")
    day, month = (second, first) if order == "month-day" else (first, second)
    return _existing_day(cell, year, month, day)


def _existing_day(cell: SheetCell, year: int, month: int, day: int) -> str:
    try:
        return datetime.date(year, month, day).isoformat()
    except ValueError:
        raise CellProblem(f"{cell.text[:60]!r} is not a day of the calendar: write e.g. 2024-05-17") from None
