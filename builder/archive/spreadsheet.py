"""Write the archive as a spreadsheet: a row for each build, its main fields, and the figures calculated from them.

Values have the digits and the unit of the record: a number with its unit in the heading, several readings in one cell
separated by semicolons. The headings are those that an import reads back into the same fields.
"""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from builder.archive.build_summary import summarize_build
from builder.archive.fields import NUMBERS, System, number_of
from builder.archive.shop_profile import read_shop_profile
from builder.archive.summary import Summary
from builder.figures.evaluate import compute
from builder.record.files import build_folders
from builder.record.load import read_build
from builder.record.models.build import DOCUMENTS, Build
from builder.record.problem import Problem
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, Range
from builder.record.redaction import without_private
from builder.record.report import CommandReport
from builder.record.spreadsheet.headings import CALCULATED
from builder.record.wording import count_of

EXPORTED: Mapping[str, str] = {
    "number": "Number",
    "title": "Title",
    "status": "Status",
    "started": "Started",
    "finished": "Finished",
    "family": "Family",
    "purpose": "Purpose",
    "summary": "Summary",
    "goals.text": "Brief",
    "engine.layout": "Layout",
    "engine.cylinders": "Cylinders",
    "engine.cycle": "Cycle",
    "engine.firing_order": "Firing order",
    "engine.displacement": "Displacement",
    "engine.induction": "Induction type",
    "engine.fuel_system": "Fuel system",
    "engine.fuel.kind": "Fuel",
    "engine.fuel.octane": "Octane",
    "engine.ignition": "Engine ignition",
    "engine.compression_wanted": "Compression wanted",
    "engine.red_line": "Red line",
    "bottom_end.block.maker": "Block maker",
    "bottom_end.block.casting": "Block casting",
    "bottom_end.block.deck_height": "Deck height",
    "bottom_end.block.bores": "Bore",
    "bottom_end.crankshaft.stroke": "Stroke",
    "bottom_end.crankshaft.material": "Crank material",
    "bottom_end.rods.length": "Rod length",
    "bottom_end.pistons.maker": "Piston maker",
    "bottom_end.pistons.number": "Piston number",
    "bottom_end.pistons.type": "Piston type",
    "bottom_end.pistons.compression_height": "Compression height",
    "bottom_end.pistons.dish": "Dish volume",
    "bottom_end.pistons.dome": "Dome volume",
    "bottom_end.deck_clearance": "Deck clearance",
    "top_end.heads.casting": "Head casting",
    "top_end.heads.chambers": "Chamber volume",
    "top_end.heads.intake_valve.diameter": "Intake valve diameter",
    "top_end.heads.exhaust_valve.diameter": "Exhaust valve diameter",
    "top_end.gasket.bore": "Gasket bore",
    "top_end.gasket.thickness": "Gasket thickness",
    "top_end.springs.installed_height": "Spring installed height",
    "top_end.springs.seat_load": "Seat pressure",
    "top_end.rockers.ratio": "Rocker ratio",
    "top_end.induction.description": "Induction",
    "top_end.induction.rated_flow": "Rated flow",
    "cam.card.maker": "Cam maker",
    "cam.card.number": "Cam number",
    "cam.card.grind": "Cam grind",
    "cam.card.lobe_separation": "Lobe separation",
    "cam.card.intake.lobe_lift": "Intake lobe lift",
    "cam.card.exhaust.lobe_lift": "Exhaust lobe lift",
    "cam.card.intake.durations": "Intake duration",
    "cam.card.exhaust.durations": "Exhaust duration",
    "cam.installed.intake_centerline": "Installed centerline",
    "cam.lifters.kind": "Lifter kind",
    "assembly.fits.main_oil_clearance": "Main oil clearance",
    "assembly.fits.rod_oil_clearance": "Rod oil clearance",
    "assembly.fits.piston_clearance": "Piston clearance",
    "assembly.fits.top_ring_gap": "Top ring gap",
    "assembly.fits.second_ring_gap": "Second ring gap",
    "assembly.fits.crank_end_play": "Crank end play",
    "delivery.delivered": "Delivered",
    "delivery.settings.total_timing": "Total timing",
    "delivery.settings.idle_speed": "Idle speed",
    "delivery.settings.jets": "Jets",
    "delivery.settings.plug": "Plug",
    "delivery.settings.plug_gap": "Plug gap",
    "delivery.least_octane": "Least octane",
}
"""The fields that are written, each with the heading that an import reads as that field."""

PRIVATE: Mapping[str, str] = {
    "customer.name": "Customer",
    "customer.contact": "Contact",
    "registration": "Registration",
    "engine_serial": "Engine serial",
    "price": "Price",
    "private_notes": "Private notes",
}
"""Private fields, which are written for the shop alone."""

_RECORDED = ("bore", "stroke", "cylinders", "year", "lobe_separation", "valve_diameter", "intake_duration_050",
             "exhaust_duration_050", "intake_duration_1mm", "exhaust_duration_1mm")  # fmt: skip
"""Figures that the sheet has as fields of the record."""
_NUMBER = re.compile(r"-?[0-9]{1,9}(?:\.[0-9]{1,9})?")


@dataclass(frozen=True, slots=True)
class ExportedCell:
    """The value of one cell, and the number format that shows all its digits."""

    value: str | int | float | datetime.date
    number_format: str = "General"


@dataclass(frozen=True, slots=True)
class ExportedHeading:
    """The heading of a column; ``place`` is that of its field among those that are written."""

    place: int
    text: str


def export_xlsx(archive: Path, path: Path, *, shop_edition: bool = False) -> CommandReport:
    """Write the builds of an archive as a workbook: finished ones without private fields, or all for the shop.

    Never writes over a file. Raises ArchiveError where the folder of the builds is missing.
    """
    if path.suffix.lower() != ".xlsx" or os.path.lexists(path):
        reason = "exists: choose another name, or delete it" if os.path.lexists(path) else "is to end in .xlsx"
        return CommandReport([Problem(path, 1, reason)], (), ok=False)
    shop, problems = read_shop_profile(archive)
    rows: list[dict[ExportedHeading, ExportedCell]] = []
    for folder in build_folders(archive):
        build, problems_of_build = read_build(folder, archive)
        if build is None:
            problems += problems_of_build
            continue
        if not shop_edition:
            if build.build.status != "finished":
                continue
            build = without_private(build)
        summary = summarize_build(build, compute(build, shop), shop)
        system: System = (
            "inch" if shop.units == "inch" or (shop.units == "both" and shop.first_units == "inch") else "metric"
        )
        rows.append(dict(_row(build, summary, system, shop_edition)))
    try:
        _write(path, rows)
    except OSError as error:
        return CommandReport([Problem(path, 1, f"cannot be written: {error.strerror or error}")], (), ok=False)
    private = "; it holds what is private" if shop_edition else ""
    lines = [f"{count_of(len(rows), 'build')} written to {path}{private}"]
    return CommandReport(problems, lines, ok=True)


def _row(
    build: Build, summary: Summary, system: System, shop_edition: bool
) -> Iterator[tuple[ExportedHeading, ExportedCell]]:
    """Yield the cells of a build by their headings."""
    yield ExportedHeading(0, "Folder"), ExportedCell(build.slug)
    fields = {**EXPORTED, **(PRIVATE if shop_edition else {})}
    for place, (path, heading) in enumerate(fields.items(), start=1):
        value = build.get(path if path.partition(".")[0] in DOCUMENTS else f"build.{path}")
        if value is not None and value != ():
            for text, cell in _cells(heading, value):
                yield ExportedHeading(place, text), cell
    for place, field in enumerate(NUMBERS, start=len(fields) + 1):
        number = None if field.slug in _RECORDED else number_of(summary, field)
        if number is not None:
            unit = field.unit(system)
            yield (
                ExportedHeading(place, f"{_with_unit(field.title, unit.label)}, {CALCULATED}"),
                _number_cell(unit.show(number)),
            )


def _cells(heading: str, value: Any) -> Iterator[tuple[str, ExportedCell]]:
    """Yield the cells of one field: one, or one for each part of a reading and each duration."""
    if isinstance(value, Reading):
        for key, quantities in _parts(value):
            unit = quantities[0].unit
            name = f"{heading}, {key}" if key else heading
            yield _with_unit(name, unit), _quantities_cell(quantities, unit)
        if value.allowed:
            unit = value.allowed.maximum.unit
            yield _with_unit(f"{heading}, allowed", unit), ExportedCell(_range_text(value.allowed))
    elif isinstance(value, Quantity):
        yield _with_unit(heading, value.unit), _quantities_cell((value,), value.unit)
    elif isinstance(value, tuple):
        for duration in value:
            yield (
                _with_unit(f"{heading} at {duration.at}", duration.duration.unit),
                _quantities_cell((duration.duration,), duration.duration.unit),
            )
    elif isinstance(value, datetime.date):
        yield heading, ExportedCell(value, "yyyy-mm-dd")
    elif isinstance(value, (int, float)):
        yield heading, _number_cell(f"{value:g}" if isinstance(value, float) else str(value))
    else:
        yield heading, ExportedCell(str(getattr(value, "text", value)))


def _parts(reading: Reading) -> Iterator[tuple[str, tuple[Quantity, ...]]]:
    """Yield the values of a reading by the part that they are; a plain value has none."""
    if reading.listed is not None:
        yield ("" if reading.is_plain else "listed"), (reading.listed,)
    for key in ("measured", "repeats"):
        if quantities := getattr(reading, key):
            yield key, quantities
    for key in ("at_least", "at_most"):
        if (limit := getattr(reading, key)) is not None:
            yield key.replace("_", " "), (limit,)


def _with_unit(heading: str, unit: str) -> str:
    return f"{heading} ({unit})" if unit else heading


def _range_text(allowed: Range) -> str:
    minimum, maximum = allowed.minimum, allowed.maximum
    return f"{minimum.fraction or minimum.number}..{maximum.fraction or maximum.number}"


def _quantities_cell(quantities: tuple[Quantity, ...], unit: str) -> ExportedCell:
    """Return a number, or several values as a text; what has another unit than the heading has it in the cell."""
    texts = [(each.fraction or each.number) if each.unit == unit else each.text for each in quantities]
    return _number_cell(texts[0]) if len(texts) == 1 else ExportedCell("; ".join(texts))


def _number_cell(text: str) -> ExportedCell:
    if not _NUMBER.fullmatch(text):
        return ExportedCell(text)
    decimals = len(text.partition(".")[2])
    return ExportedCell(float(text), f"0.{'0' * decimals}") if decimals else ExportedCell(int(text), "0")


def _write(path: Path, rows: Sequence[Mapping[ExportedHeading, ExportedCell]]) -> None:
    """Write a workbook with one sheet, complete or not at all."""
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    headings = sorted(dict.fromkeys(heading for row in rows for heading in row), key=lambda heading: heading.place)
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Builds"
    for column, heading in enumerate(headings, start=1):
        sheet.cell(1, column, heading.text).font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(column)].width = min(40, max(10, len(heading.text) + 2))
    for number, row in enumerate(rows, start=2):
        for column, heading in enumerate(headings, start=1):
            if heading not in row:
                continue
            cell = sheet.cell(number, column)
            value = row[heading].value
            cell.value = value
            if isinstance(value, str):
                # A text that begins like a formula stays a text, here and where somebody edits the cell.
                cell.data_type = "s"
                cell.quotePrefix = value[:1] in "=+-@\t"
            cell.number_format = row[heading].number_format
    sheet.freeze_panes = "B2"
    part = path.with_name(f".{path.name}.part")
    try:
        book.save(part)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
