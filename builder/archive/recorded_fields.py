"""Every field of a record as text, with its place in the record, so that records can be compared field by field.

The list follows from the models alone: a new field of the record is in it without a change here. An entry of a list is
known by its name (the joint, the fluid, the part), not by its position, so that one entry more changes no other.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from builder.figures.core.display_units import (
    convert_to_other_system,
    join_unit,
    number_in_other_system,
    system_of_unit,
    written_number,
    written_text,
)
from builder.record.models.build import DOCUMENT_TITLES, Build
from builder.record.models.fields import RecordModel, title_of
from builder.record.quantities.readings import Reading, as_written
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import Quantity, Range
from builder.record.wording import in_sentence

_REMARKS = (
    ("listed", "catalog"),
    ("allowed", "allowed"),
    ("at_least", "at least"),
    ("at_most", "at most"),
    ("resolution", "gauge resolution"),
    ("repeats", "repeat readings"),
    ("rule", "rule"),
    ("instrument", "measured with"),
    ("by", "measured by"),
    ("note", "note"),
)
"""What a reading holds besides its values, with the words for it."""


@dataclass(frozen=True, slots=True)
class RecordedField:
    """One field that the record holds.

    ``file`` is the document, ``group`` the title of its section, ``title`` that of the field. ``inch`` and ``metric``
    are the value as text in each system, one of them as written; where there is one unit only they are the same.
    ``positions`` are the numbers of a reading taken at several positions, as written, ``unit`` is theirs.
    """

    file: str
    group: str
    title: str
    inch: str
    metric: str
    written: str
    positions: tuple[str, ...] = ()
    unit: str = ""

    @property
    def in_full(self) -> str:
        """Return the value as written, a reading with the number of every position."""
        return join_unit(", ".join(self.positions), self.unit) if self.positions else self.written

    @property
    def key(self) -> tuple[str, str, str]:
        """Return what names the field in any record."""
        return self.file, self.group, self.title


def recorded_fields(build: Build, *, without: Collection[str] = ()) -> tuple[RecordedField, ...]:
    """Return every field that a build's record holds, in the order of the work.

    ``without`` names what is left out, by dotted path.
    """
    fields = (
        field
        for name in DOCUMENT_TITLES
        if name not in without and (model := getattr(build, name)) is not None
        for field in model_fields(model, name, without=without)
    )
    return tuple(_numbered(fields))


def model_fields(
    model: RecordModel, file: str, *, remarks: bool = False, without: Collection[str] = ()
) -> Iterator[RecordedField]:
    """Yield every field of one document.

    With ``remarks`` what a reading says besides its values (catalog, allowed range, note) is listed too. ``without``
    names what is left out, by dotted path.
    """
    yield from _fields(model, file, file, "", remarks, without)


def _numbered(fields: Iterable[RecordedField]) -> Iterator[RecordedField]:
    """Yield the fields, of several with one name all but the first with a number behind it."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for field in fields:
        counts[field.key] += 1
        number = counts[field.key]
        title = field.title if number == 1 else f"{field.title} ({number})"
        yield replace(field, title=title)


def _fields(
    model: RecordModel, file: str, path: str, group: str, remarks: bool, without: Collection[str]
) -> Iterator[RecordedField]:
    for name, info in type(model).model_fields.items():
        value, inner_path, title = getattr(model, name), f"{path}.{name}", title_of(name, info)
        if value is None or value == () or inner_path in without:
            continue
        inner_group = f"{group}, {in_sentence(title)}" if group else title
        if isinstance(value, RecordModel):
            yield from _fields(value, file, inner_path, inner_group, remarks, without)
        elif isinstance(value, tuple) and isinstance(value[0], RecordModel):
            yield from _entries(value, file, inner_path, inner_group, remarks, without)
        elif not isinstance(value, Reading):
            yield _field(file, group, title, value)
        else:
            if value.as_returned is not None:
                yield _field(file, group, f"{title}, as returned", value.as_returned)
            if value.preferred or value.as_returned is None:
                yield _field(file, group, title, value)
            if remarks:
                yield from _remarks(file, group, title, value)


def _entries(
    models: tuple[RecordModel, ...], file: str, path: str, group: str, remarks: bool, without: Collection[str]
) -> Iterator[RecordedField]:
    """Yield the fields of a list's entries, each with the name of its entry in front; the first field is the name."""
    for model in models:
        names = list(type(model).model_fields)
        entry = _text(getattr(model, names[0]))
        if len(names) == 2 and (value := getattr(model, names[1])) is not None and not isinstance(value, RecordModel):
            yield _field(file, group, entry, value)
            continue
        rest = list(_fields(model, file, path, group, remarks, {*without, f"{path}.{names[0]}"}))
        for field in rest or [_field(file, group, entry, "recorded")]:
            inner = field.group.removeprefix(group).removeprefix(", ")
            title = ", ".join(filter(None, (inner, in_sentence(field.title) if inner else field.title)))
            yield replace(field, group=group, title=f"{entry}: {in_sentence(title)}" if rest else entry)


def _remarks(file: str, group: str, title: str, reading: Reading) -> Iterator[RecordedField]:
    for name, words in _REMARKS:
        value = getattr(reading, name)
        if value not in (None, ()) and not (name == "listed" and not reading.is_measured):
            yield _field(file, group, f"{title}, {words}", value)
    if reading.accepted:
        yield _field(file, group, f"{title}, accepted", f"{reading.accepted.by}: {reading.accepted.why}")


def _field(file: str, group: str, title: str, value: Any) -> RecordedField:
    written = _text(value)
    quantities = value.preferred if isinstance(value, Reading) else (value,) if isinstance(value, Quantity) else ()
    other = _in_other_system(quantities) or written
    first_is_metric = bool(quantities) and system_of_unit(quantities[0]) == "metric"
    inch, metric = (other, written) if first_is_metric else (written, other)
    if isinstance(value, Reading) and len(value.measured) > 1:
        numbers = tuple(map(written_number, quantities))
        return RecordedField(file, group, title, inch, metric, written, numbers, printed_unit(quantities[0].unit))
    return RecordedField(file, group, title, inch, metric, written)


def _in_other_system(quantities: tuple[Quantity, ...]) -> str | None:
    """Return values of one unit in the other system; None where both agree."""
    if not quantities:
        return None
    if len(quantities) == 1:
        return convert_to_other_system(quantities[0])
    low, high = _ends(quantities)
    lowest, highest = number_in_other_system(low), number_in_other_system(high)
    if lowest is None or highest is None:
        return None
    return _span(lowest[0], highest[0], highest[1], len(quantities))


def _ends(quantities: tuple[Quantity, ...]) -> tuple[Quantity, Quantity]:
    return min(quantities, key=lambda quantity: quantity.si), max(quantities, key=lambda quantity: quantity.si)


def _span(low: str, high: str, unit: str, count: int) -> str:
    return f"{join_unit(high, unit) if low == high else f'{low} to {join_unit(high, unit)}'}, {count} read"


def _text(value: Any) -> str:
    """Return a value of the record as text, as written."""
    if isinstance(value, Reading):
        return _reading_text(value)
    if isinstance(value, Quantity):
        return written_text(value)
    if isinstance(value, Range):
        return f"{value.minimum.number} to {written_text(value.maximum)}"
    if isinstance(value, tuple):
        return ", ".join(map(_text, value))
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_text(item)}" for key, item in value.items())
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return " ".join(as_written(value).split())


def _reading_text(reading: Reading) -> str:
    quantities = reading.preferred
    if not quantities:
        return "range only"
    if len(quantities) == 1:
        return written_text(quantities[0])
    low, high = _ends(quantities)
    return _span(written_number(low), written_number(high), printed_unit(high.unit), len(quantities))
