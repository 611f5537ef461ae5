"""How large a one-page sheet is printed: the type and the chart that fill the page, estimated from its texts.

typst can measure text, but a page that measures itself takes four times as long to compile.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from builder.publish.sheets.build_sheet import BuildSheet
from builder.publish.sheets.dyno_sheet import DynoSheet
from builder.publish.sheets.record_rows import LabelledValue

SIZES = (11.5, 10.8, 10.2, 9.6, 9.0)
"""Sizes of type [pt], the largest first: values are printed at 0.76 of it."""
SMALLEST = 8.0
"""Size of type [pt] of a sheet for which no other is small enough."""
ROOM = {"A4": (180.0, 234.0), "Letter": (185.9, 216.0)}
"""Width and height [mm] between header and footer of a sheet, by paper."""

_POINT = 25.4 / 72
_CHARACTER = 0.76 * 0.54
"""Mean width of a character of a value, as a share of the size of type."""
_ROW, _LINE, _TITLE = 0.9, 0.82, 1.75
"""Height of a row of one line, of each further line, and of the title of a block, as shares of the size of type."""
_WRAPPED_UP_TO = 10.0
"""Up to this size of type [pt] a range may take two lines: it would be hard to read on one."""
_GUTTER = 7.0
_LEFT_COLUMN = 0.465
_MIN_CHART, _MAX_CHART = 58.0, 118.0  # height [mm]
_MIN_NOTES = 30.0  # [mm]


@dataclass(frozen=True)
class BuildLayout:
    """The layout of a build sheet: size of type [pt], place of the settings, and whether there is room for notes."""

    size: float
    settings_left: bool
    notes: bool


@dataclass(frozen=True)
class DynoLayout:
    """The layout of a dyno sheet: size of type [pt] and height of the chart [mm]."""

    size: float
    chart_height: float


def layout_build_sheet(sheet: BuildSheet, paper: str, attempt: int = 0) -> BuildLayout:
    """Return the layout that fills the page; with every further attempt, one for more room than was estimated."""
    width, height = ROOM[paper]
    height *= 0.94**attempt
    left, right = (width - _GUTTER) * _LEFT_COLUMN, (width - _GUTTER) * (1 - _LEFT_COLUMN)
    for size in (*SIZES, SMALLEST):
        specification = _block(sheet.specification, left, size) + _block(sheet.cam, left, size)
        measured = _clearances(sheet, right, size) + _joints(sheet, right, size)
        settings_left = specification < measured
        specification += _block(sheet.settings, left, size) if settings_left else 0.0
        measured += 0.0 if settings_left else _block(sheet.settings, right, size)
        needed = max(specification, measured) + (5.0 if sheet.left_out else 0.0)
        wrapped = size > _WRAPPED_UP_TO and _wraps(sheet, right, size)
        if (needed <= height and not wrapped) or size == SMALLEST:
            break
    return BuildLayout(size, settings_left, height - needed > _MIN_NOTES and not attempt)


def layout_dyno_sheet(sheet: DynoSheet, paper: str, attempt: int = 0) -> DynoLayout:
    """Return the layout that fills the page; with every further attempt, one for more room than was estimated."""
    width, height = ROOM[paper]
    height *= 0.94**attempt
    column = (width - 8.0) / 2
    for size in (*SIZES, SMALLEST):
        table = (_TITLE + _ROW * (len(sheet.table.rows) + 1)) * size * _POINT
        notes = sum(_lines(text, column, 0.88 * size) for text in (*sheet.notes, *sheet.cautions)) * 0.85
        texts = _block(sheet.conditions, column, size) + (_TITLE + notes + 0.3 * len(sheet.notes)) * size * _POINT
        chart = height - max(table, texts) - 6.5 * size * _POINT
        if chart >= (_MIN_CHART + _MAX_CHART) / 2 or size == SMALLEST or (chart >= _MIN_CHART and size < 10):
            break
    return DynoLayout(size, max(30.0, min(chart, _MAX_CHART)))


def _lines(text: str, width: float, size: float) -> int:
    """Return how many lines a value takes in a column of a width [mm]."""
    return max(1, math.ceil(1.06 * len(text) * _CHARACTER * size * _POINT / width))


def _block(rows: Iterable[LabelledValue], width: float, size: float) -> float:
    """Return the height [mm] of a block of rows with its title."""
    height = _TITLE + _ROW * (not rows)
    for row in rows:
        texts = " ".join(filter(None, (row.text, row.alternate_text, row.provenance)))
        lines = _lines(texts, width * 0.68 - 1.5, size) + sum(
            _lines(text, width * 0.68 - 1.5, 0.88 * size) for text in row.remarks
        )
        height += _ROW + _LINE * (max(lines, _lines(row.title, width * 0.32 - 1.5, 0.88 * size)) - 1)
    return float(height * size * _POINT)


def _clearances(sheet: BuildSheet, width: float, size: float) -> float:
    height: float = _TITLE + _ROW
    for row in sheet.clearances:
        lines = max(_lines(text, width / 3 - 1.5, size) for text in (row.title, row.allowed, row.measured))
        height += _ROW + _LINE * (lines - 1)
    return float(height * size * _POINT)


def _wraps(sheet: BuildSheet, width: float, size: float) -> bool:
    """Return whether a range or a reading takes more than one line."""
    return any(
        _lines(text, width / 3 - 1.2, size) > 1 for row in sheet.clearances for text in (row.allowed, row.measured)
    )


def _joints(sheet: BuildSheet, width: float, size: float) -> float:
    height = _TITLE + _ROW * (not sheet.joints)
    for joint in sheet.joints:
        names = _lines(joint.title, width * 0.42, size) + bool(joint.bolts) * _lines(joint.bolts, width * 0.42, size)
        torque = f"{joint.tightening} {joint.alternate_torque}"
        texts = _lines(torque, width * 0.55, size) + bool(joint.lubricant) * _lines(joint.lubricant, width * 0.55, size)
        height += _ROW + _LINE * (max(names, texts) - 1)
    return float(height * size * _POINT)
