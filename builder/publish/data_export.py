"""The dyno session as data: a CSV file for every pull, the result as JSON, and a data package that describes them.

The package follows the open Data Package standard (datapackage.json); every field has its unit. Numbers are in
SI in the JSON, and in the units of the page in the CSV, whose headers say so.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from builder.engine.validation import Array
from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession
from builder.figures.export import (
    change_as_json,
    repeats_as_json,
    scatter_as_json,
    setting_as_json,
    state_as_json,
)
from builder.record.dyno_log.channels import CHANNELS
from builder.record.models.build import Build
from builder.record.quantities.unit_table import printed_unit

_BY_DIMENSION = {
    "pressure": display_units.PRESSURE,
    "absolute_pressure": display_units.AIR_PRESSURE,
    "gauge_pressure": display_units.PRESSURE,
    "temperature": display_units.TEMPERATURE,
    "mass_flow": display_units.MASS_FLOW,
    "volume_flow": display_units.VOLUME_FLOW,
    "angle": display_units.ANGLE,
    "afr": display_units.RATIO,
    "lambda": display_units.RATIO,
    "speed": display_units.SPEED,
    "time": display_units.PULSE,
    "voltage": display_units.VOLTAGE,
    "fraction": display_units.PERCENT,
}
_DERIVED: dict[str, tuple[str, DisplayUnit]] = {
    "bmep": ("BMEP", display_units.BMEP),
    "piston_speed": ("Mean piston speed", display_units.VELOCITY),
    "air_flow_mass": ("Air taken in, by mass", display_units.MASS_FLOW),
    "fuel_flow_mass": ("Fuel, by mass", display_units.MASS_FLOW),
    "volumetric_efficiency": ("Volumetric efficiency", display_units.PERCENT),
    "bsfc": ("BSFC", display_units.SPECIFIC_FUEL),
    "brake_thermal_efficiency": ("Brake thermal efficiency", display_units.PERCENT),
}
_DIGITS = 6
"""Significant digits of a number in the data: more than any dyno resolves."""


@dataclass(frozen=True, eq=False)
class ExportColumn:
    """One column of a pull's table: its name, its title, its unit as printed, and its numbers."""

    name: str
    title: str
    unit: str
    values: Array


def export_data(build: Build, sheet: FigureSheet) -> dict[str, bytes]:
    """Return the data files by name; none without a session.

    The build must be without its private fields. The same build gives the same bytes.
    """
    session = sheet.session
    if session is None or not session.pulls:
        return {}
    names = [pull_file_name(pull.index, pull.name) for pull in session.pulls]
    files: dict[str, bytes] = {}
    resources = []
    for pull, name in zip(session.pulls, names, strict=True):
        columns = list(columns_of(pull, sheet.system))
        files[name] = _table([column.name for column in columns], _format_rows(columns))
        status = "counted" if pull.counted else f"not counted: {pull.exclusion_reason}"
        resources.append(_resource(name, f"{pull.name} ({pull.standard.name}; {status})", columns))
    header, rows, resource = _pulls_table(session, sheet.system)
    files["pulls.csv"] = _table(header, iter(rows))
    resources.insert(0, resource)
    result = json.dumps(result_json(build, sheet, session, names), ensure_ascii=False, allow_nan=False)
    files["result.json"] = f"{result}\n".encode()
    files["datapackage.json"] = _datapackage(build, resources)
    return files


def columns_of(pull: PullResult, system: System) -> Iterator[ExportColumn]:
    """Yield the columns of a pull, a row for each speed, in the units of one system."""
    yield _column("engine_speed", "Engine speed", display_units.SPEED, pull.corrected.speed, system)
    standard = pull.standard.name
    yield _column("torque", f"Torque, {standard}", display_units.TORQUE, pull.corrected.torque, system)
    yield _column("power", f"Power, {standard}", display_units.POWER, pull.corrected.power, system)
    yield _column(
        "observed_torque", "Torque, uncorrected", display_units.TORQUE, pull.corrected.observed_torque, system
    )
    yield _column("observed_power", "Power, uncorrected", display_units.POWER, pull.corrected.observed_power, system)
    for slug, (title, kind) in _DERIVED.items():
        if slug in pull.derived:
            yield _column(slug, title, kind, pull.derived[slug], system)
    for slug, channel in CHANNELS.items():
        if slug in pull.channels:
            yield _column(slug, channel.title, _BY_DIMENSION[channel.dimension], pull.channels[slug], system)


def _column(slug: str, title: str, kind: DisplayUnit, values: Array, system: System) -> ExportColumn:
    unit = printed_unit(kind.scale(system).unit)
    # Every unit is a linear function of SI, which two points define.
    zero, one = kind.number(0.0, system), kind.number(1.0, system)
    suffix = re.sub(r"[^a-z0-9]+", "_", unit.replace("°", "deg").replace("%", "percent").casefold()).strip("_")
    return ExportColumn(f"{slug}_{suffix}" if suffix else slug, title, unit, zero + (one - zero) * values)


def _format_rows(columns: Sequence[ExportColumn]) -> Iterator[list[str]]:
    for row in np.stack([column.values for column in columns], axis=1):
        yield [f"{value:.{_DIGITS}g}" if math.isfinite(value) else "" for value in row]


def _table(header: Sequence[str], rows: Iterator[list[str]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([escape_formula(cell) for cell in header])
    writer.writerows([escape_formula(cell) for cell in row] for row in rows)
    return text.getvalue().encode()


def _pulls_table(session: DynoSession, system: System) -> tuple[list[str], list[list[str]], dict[str, Any]]:
    """Return header, rows and resource of the table of all pulls: what was changed, and the results."""
    verdicts = {change.name: change.text for change in session.changes}
    texts: dict[str, list[str]] = {
        "pull": [pull.name for pull in session.pulls],
        "changed": [pull.record.changed_text for pull in session.pulls],
        "since": [pull.record.since or pull.record.repeat_of or "" for pull in session.pulls],
        "verdict": [verdicts.get(pull.name, "") for pull in session.pulls],
        "standard": [pull.standard.name for pull in session.pulls],
        "left_out": [pull.exclusion_reason for pull in session.pulls],
        "delivered": ["yes" if session.is_delivered(pull) else "" for pull in session.pulls],
    }

    def column(slug: str, title: str, kind: DisplayUnit, values: Sequence[float | None]) -> ExportColumn:
        numbers = np.array([np.nan if value is None else value for value in values])
        return _column(slug, title, kind, numbers, system)

    pulls = session.pulls
    factors = [pull.correction.factor if pull.correction else None for pull in pulls]
    columns = [
        column("factor", "Correction factor", display_units.FACTOR, factors),
        column("peak_power", "Peak power", display_units.POWER, [pull.peaks.power.value for pull in pulls]),
        column("peak_power_speed", "Peak power rpm", display_units.SPEED, [pull.peaks.power.speed for pull in pulls]),
        column("peak_torque", "Peak torque", display_units.TORQUE, [pull.peaks.torque.value for pull in pulls]),
        column(
            "peak_torque_speed",
            "Peak torque rpm",
            display_units.SPEED,
            [pull.peaks.torque.speed for pull in pulls],
        ),
        column("mean_torque", "Mean torque over the range", display_units.TORQUE, [pull.mean_torque for pull in pulls]),
        column("mean_power", "Mean power over the range", display_units.POWER, [pull.mean_power for pull in pulls]),
    ]
    resource = _resource("pulls.csv", "All pulls: changes and results", columns)
    fields = [{"name": name, "title": name.replace("_", " ").capitalize(), "type": "string"} for name in texts]
    resource["schema"]["fields"] = fields + resource["schema"]["fields"]
    rows = [
        [*text_row, *number_row]
        for text_row, number_row in zip(zip(*texts.values(), strict=True), _format_rows(columns), strict=True)
    ]
    return [*texts, *(column.name for column in columns)], rows, resource


_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", re.IGNORECASE)


def escape_formula(cell: str) -> str:
    """Return the cell with an apostrophe in front where a spreadsheet would read it as a formula."""
    first = cell.lstrip(" \t\r\n\N{NO-BREAK SPACE}")[:1]
    if first and first in "=+-@＝＋－＠" and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return f"'{cell}" if cell[:1] in ("\t", "\r", "\n") else cell


def pull_file_name(index: int, name: str) -> str:
    """Return a file name such as `pull-03-130-jets.csv`; the number of the pull makes it unique."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:40].strip("-")
    return f"pull-{index + 1:02d}{f'-{slug}' if slug else ''}.csv"


def _resource(path: str, title: str, columns: Sequence[ExportColumn]) -> dict[str, Any]:
    fields = []
    for column in columns:
        field: dict[str, Any] = {"name": column.name, "title": column.title, "type": "number"}
        if column.unit:
            field["unit"] = column.unit
        fields.append(field)
    return {
        "name": path.removesuffix(".csv"),
        "title": title,
        "type": "table",
        "path": path,
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""]},
    }


def _datapackage(build: Build, resources: list[dict[str, Any]]) -> bytes:
    package: dict[str, Any] = {
        "name": build.slug,
        "title": f"{build.build.title}: dyno session",
        "description": "Corrected curves of every pull at common engine speeds, and all calculations.",
    }
    if build.dyno is not None and build.dyno.date is not None:
        package["created"] = f"{build.dyno.date.isoformat()}T00:00:00Z"
    package["resources"] = [
        *resources,
        {
            "name": "result",
            "title": "All figures, pulls, changes and settings, in SI",
            "path": "result.json",
            "scheme": "file",
            "format": "json",
            "mediatype": "application/json",
            "encoding": "utf-8",
        },
    ]
    return f"{json.dumps(package, ensure_ascii=False, indent=1)}\n".encode()


def result_json(build: Build, sheet: FigureSheet, session: DynoSession, names: Sequence[str]) -> dict[str, Any]:
    """Return the complete result in SI, as lists, texts and numbers in a fixed order."""
    low, high = session.range or (None, None)
    return {
        "build": build.slug,
        "title": build.build.title,
        "units": "SI; engine speed in rev/s, temperatures in K",
        "standard": session.standard.name,
        "corrected": session.corrected,
        "delivered": state_as_json(session.delivered),
        "best_during_testing": state_as_json(session.best),
        "range": {"from": _number(low), "to": _number(high), "as_stated_in": session.range_from},
        "remarks": list(session.remarks),
        "figures": [_figure(figure) for figure in sheet.figures],
        "needs": [
            {"figure": need.slug, "needs": list(need.needs), "instead": [list(hints) for hints in need.instead]}
            for need in sheet.needs
        ],
        "cautions": [{"about": item.subject, "text": item.text} for item in sheet.shown_cautions],
        "pulls": [
            _pull(pull, name, delivered=session.is_delivered(pull))
            for pull, name in zip(session.pulls, names, strict=True)
        ],
        "scatter": scatter_as_json(session.scatter),
        "repeats": [repeats_as_json(repeat) for repeat in session.repeats],
        "changes": [_change(session, index) for index in range(len(session.changes))],
        "settings": [setting_as_json(setting) for setting in session.settings],
        "health": [
            {"pull": item.pull, "channel": item.channel, "side": item.side, "limit": _number(item.limit),
             "value": _number(item.value), "speed": _number(item.speed), "text": item.text}
            for item in session.violations
        ],
    }  # fmt: skip


def _number(value: float | None) -> float | None:
    """Return a number rounded so that every machine writes the same digits; None for what is not finite."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.9g}")


def _numbers(values: Array) -> list[float | None]:
    """Return a curve to as many digits as a dyno resolves."""
    return [float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None for value in values.tolist()]


def _figure(figure: Figure) -> dict[str, Any]:
    return {
        "slug": figure.slug,
        "title": figure.title,
        "value": _number(figure.value),
        "unit": figure.description.display_unit.si,
        "shown": figure.display_with_range,
        "working": figure.working,
        "basis": figure.basis,
        "calculated_from": [{"what": item.label, "known": item.provenance} for item in figure.readings],
        "uncertainty": _number(figure.uncertainty),
        "note": figure.note,
        "source": figure.description.source,
        "positions": [{"label": item.label, "value": _number(item.value)} for item in figure.positions],
    }


def _pull(pull: PullResult, name: str, *, delivered: bool) -> dict[str, Any]:
    curves: Mapping[str, Array] = {
        "engine_speed": pull.corrected.speed,
        "torque": pull.corrected.torque,
        "power": pull.corrected.power,
        "observed_torque": pull.corrected.observed_torque,
    }
    correction = pull.correction
    return {
        "name": pull.name,
        "curve": name,
        "kind": pull.kind,
        "counted": pull.counted,
        "delivered": delivered,
        "reason": pull.exclusion_reason or None,
        "standard": pull.standard.name,
        "stated": correction.stated.name if correction else None,
        "factor": _number(correction.factor) if correction else None,
        "needs": list(pull.applied.needs),
        "outside": list(pull.outside),
        "air": {"pressure": _number(pull.conditions.pressure), "temperature": _number(pull.conditions.temperature),
                "vapor_pressure": _number(pull.conditions.air.vapor) if pull.conditions.air else None},
        "peak_torque": _number(pull.peaks.torque.value),
        "peak_torque_speed": _number(pull.peaks.torque.speed),
        "peak_power": _number(pull.peaks.power.value),
        "peak_power_speed": _number(pull.peaks.power.speed),
        "highest_reading_of_torque": _number(pull.peaks.torque.raw_value),
        "highest_reading_of_power": _number(pull.peaks.power.raw_value),
        "mean_torque": _number(pull.mean_torque),
        "mean_power": _number(pull.mean_power),
        "total_timing": _number(pull.record.total_timing.si if pull.record.total_timing else None),
        "knock": pull.record.knock,
        "torque_band": [[_number(low), _number(high)] for low, high in pull.peaks.torque_band],
        "notes": list(pull.notes),
        "curves": {slug: _numbers(values) for slug, values in curves.items()},
    }  # fmt: skip


def _change(session: DynoSession, index: int) -> dict[str, Any]:
    """Return a change with its curve of difference."""
    change = session.changes[index]
    result = change_as_json(change, session.scatter)
    if change.gain is not None:
        result |= {
            "engine_speed": _numbers(change.gain.speed),
            "difference": _numbers(change.gain.difference),
            "band": _numbers(change.gain.band),
        }
    return result
