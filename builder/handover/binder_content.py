"""The content of the binder as frozen values, which the template prints as they are."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from builder.figures.core.types import LISTED, MEASURED, PROVENANCE_TEXTS, Figure, FigureSheet
from builder.figures.review.clearance_checks import CheckedClearance
from builder.handover.limits import LimitLine, limits_of
from builder.handover.parts_list import PartLine, installed_parts, rejected_parts
from builder.handover.performance import Performance, performance_of
from builder.handover.procedures import Procedure, break_in, cautions, first_start, read_texts, warranty
from builder.handover.rich_text import TextBlock, parse_blocks
from builder.publish.pages.build.headline import Headline, headline, kind_of_engine
from builder.publish.pages.build.record_tables import cell, chapters
from builder.publish.pages.formatting import format_date, sentence
from builder.publish.sheets.joints import Joint, joints
from builder.publish.sheets.record_rows import (
    LabelledValue,
    TextTable,
    ValueGroup,
    capitalize,
    labelled,
    rows_of,
    value_groups,
)
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import as_written

_SPECIFICATION_FIGURES = (
    "displacement", "swept_volume", "bore_stroke_ratio", "rod_ratio", "compression_ratio",
    "effective_compression_ratio", "deck_clearance", "quench", "clearance_volume", "mean_piston_speed", "valve_lift",
    "lobe_separation", "installed_centerline", "exhaust_centerline", "cam_advance", "overlap", "spring_rate",
    "seat_load", "open_load", "coil_bind_clearance", "piston_to_valve",
)  # fmt: skip


@dataclass(frozen=True)
class GaugeMark:
    """One reading of a clearance; ``position`` is where it lies in the range, 0 to 1 from end to end."""

    number: str
    position: float | None
    out_of_range: bool


@dataclass(frozen=True)
class ClearanceLine:
    """One measured clearance or check."""

    title: str
    allowed: str
    authority: str
    measured: str
    mean: str
    marks: tuple[GaugeMark, ...]
    verdict: str
    has_range: bool
    out_of_range: bool
    note: str
    computed: bool


@dataclass(frozen=True)
class SignOffLine:
    """A line to sign on, with the name and the date where these are recorded."""

    role: str
    name: str
    date: str


@dataclass(frozen=True)
class Binder:
    """The content of the binder, section by section; what is empty was not recorded."""

    title: str
    number: str
    shop: str
    shop_lines: tuple[str, ...]
    engine_type: str
    date: tuple[int, int, int] | None
    """Date of the document: year, month, day."""
    date_text: str
    customer: tuple[LabelledValue, ...]
    invented: str
    facts: tuple[LabelledValue, ...]
    summary: tuple[TextBlock, ...]
    goals: tuple[TextBlock, ...]
    headline: tuple[Headline, ...]
    performance: Performance | None
    figures: tuple[LabelledValue, ...]
    specification: tuple[ValueGroup, ...]
    work: TextTable | None
    clearances: tuple[ClearanceLine, ...]
    checks: tuple[ClearanceLine, ...]
    check_remarks: tuple[LabelledValue, ...]
    cam: tuple[ValueGroup, ...]
    joints: tuple[Joint, ...]
    settings: tuple[LabelledValue, ...]
    fluids: TextTable | None
    least_octane: str
    fuel: str
    first_start: Procedure
    break_in: Procedure
    limits: tuple[LimitLine, ...]
    services: TextTable | None
    parts: tuple[PartLine, ...]
    rejected_parts: tuple[PartLine, ...]
    cautions: tuple[str, ...]
    accepted: tuple[str, ...]
    """Cautions that the shop accepted, with the reason, where the customer sees them."""
    note: tuple[TextBlock, ...]
    warranty: tuple[TextBlock, ...]
    sign_off: tuple[SignOffLine, ...]
    not_recorded: tuple[str, ...]
    page_url: str


def binder_of(build: Build, sheet: FigureSheet, shop: Shop, archive: Path | None) -> Binder:
    """Return the binder of a build that has been through ``without_private``."""
    texts = read_texts(archive)
    both = shop.units == "both"
    record, delivery = build.build, build.delivery
    date = document_date(build)
    return Binder(
        title=record.title,
        number=record.number or build.slug,
        shop=shop.name,
        shop_lines=tuple(line for line in (shop.place, shop.contact, shop.site_address) if line),
        engine_type=kind_of_engine(build),
        date=(date.year, date.month, date.day) if date else None,
        date_text=format_date(date) if date else "",
        customer=_customer(build),
        invented=record.invented or "",
        facts=_facts(build),
        summary=parse_blocks(record.summary),
        goals=parse_blocks(record.goals),
        headline=headline(sheet),
        performance=performance_of(build, sheet, shop, texts),
        figures=tuple(
            _labelled_figure(figure) for slug in _SPECIFICATION_FIGURES if (figure := sheet.get(slug)) is not None
        ),
        specification=value_groups(build, ("bottom_end", "top_end"), both),
        work=_work(build),
        clearances=tuple(_clearance_line(item) for item in sheet.clearances if item.kind != "check"),
        checks=tuple(_clearance_line(item) for item in sheet.clearances if item.kind == "check"),
        check_remarks=_check_remarks(build),
        cam=value_groups(build, ("cam",), both),
        joints=joints(build),
        settings=rows_of(delivery.settings, both) if delivery and delivery.settings else (),
        fluids=_fluids(build),
        least_octane=(delivery.least_octane if delivery else None) or "",
        fuel=_fuel(build),
        first_start=first_start(build, shop, texts),
        break_in=break_in(build, shop, texts),
        limits=limits_of(build, shop),
        services=_services(build),
        parts=installed_parts(build),
        rejected_parts=rejected_parts(build),
        cautions=cautions(shop, texts),
        accepted=tuple(sentence(caution.text) for caution in sheet.cautions if caution.accepted),
        note=parse_blocks(delivery.note if delivery else None),
        warranty=parse_blocks(warranty(build, shop)),
        sign_off=_sign_off(build),
        not_recorded=tuple(chapter.title for chapter in chapters(build) if not chapter.groups),
        page_url=page_url(build, shop),
    )


def document_date(build: Build) -> datetime.date | None:
    """Return the date on the cover: delivered, else finished, else the latest step that the record dates."""
    dates = (
        build.delivery.delivered if build.delivery else None,
        build.build.finished,
        build.dyno.date if build.dyno else None,
        build.build.started,
    )
    return next((date for date in dates if date is not None), None)


def page_url(build: Build, shop: Shop) -> str:
    """Return the address of the build's page; empty without a site address or while the build is unfinished."""
    address = (shop.site_address or "").strip().rstrip("/")
    if build.build.status != "finished" or not address.startswith(("http://", "https://")) or " " in address:
        return ""
    return f"{address}/builds/{build.slug}/index.html"


def _customer(build: Build) -> tuple[LabelledValue, ...]:
    """Return the customer's fields that are in the record; private ones were removed from it before."""
    customer = build.build.customer
    return labelled(
        ("For", customer.name if customer else None),
        ("Contact", customer.contact if customer else None),
        ("Address", " ".join(customer.address.split()) if customer and customer.address else None),
        ("Registration", build.build.registration),
        ("Engine number", build.build.engine_serial),
    )


def _facts(build: Build) -> tuple[LabelledValue, ...]:
    record, engine, delivery = build.build, build.build.engine, build.delivery
    return labelled(
        ("Build number", record.number),
        ("Family", record.family),
        ("Kind", kind_of_engine(build)),
        ("Built for", record.purpose),
        ("Year of the engine", None if engine.year is None else str(engine.year)),
        ("Fuel system", as_written(engine.fuel_system or "")),
        ("Induction", as_written(engine.induction or "")),
        ("Cooling", as_written(engine.cooling or "")),
        ("Firing order", engine.firing_order),
        ("Started", format_date(record.started) if record.started else None),
        ("Finished", format_date(record.finished) if record.finished else None),
        ("Handed over", format_date(delivery.delivered) if delivery and delivery.delivered else None),
        ("Assembled by", build.assembly.by if build.assembly else None),
    )


def _labelled_figure(figure: Figure) -> LabelledValue:
    remarks = []
    low, high = figure.minimum, figure.maximum
    if low and high and low.display != high.display and not figure.range_text:
        axis = f"{figure.axis} " if low.label.isdigit() else ""
        if len(figure.positions) <= 3 and not axis:
            remarks.append(", ".join(f"{position.label} {position.display}" for position in figure.positions))
        else:
            remarks.append(f"{low.display} ({axis}{low.label}) to {high.display} ({axis}{high.label})")
    if figure.calculated_from and figure.basis != MEASURED:
        remarks.append(figure.calculated_from)
    remarks += figure.cautions
    provenance = PROVENANCE_TEXTS[LISTED] if figure.is_reading and figure.provenance == LISTED else ""
    return LabelledValue(
        figure.title, figure.display_with_range, figure.alternate_text or "", tuple(remarks), provenance
    )


def _clearance_line(item: CheckedClearance) -> ClearanceLine:
    count, low, high = len(item.readings), item.minimum, item.maximum
    measured = low.text
    if count > 1 and low.text == high.text:
        measured = f"{low.text}, all {count}"
    elif count > 1:  # the unit once, but for degrees
        measured = f"{low.number if low.unit == high.unit != '°' else low.text} to {high.text}"
    notes = (
        f"accepted by {item.accepted.by}: {item.accepted.why}" if item.accepted and item.out_of_range else None,
        f"{item.axis} {item.outlier} stands out" if item.outlier else None,
        item.note,
        f"gauged by {item.by}" if item.by else None,
    )
    return ClearanceLine(
        title=item.title,
        allowed=item.allowed.text,
        authority=item.allowed.authority_text,
        measured=measured,
        mean=item.mean_text if count > 1 else "",
        marks=tuple(
            GaugeMark(
                reading.text if reading.unit == "°" else reading.number,
                _position_in_range(item, reading.value),
                reading.out_of_range,
            )
            for reading in item.readings
        ),
        verdict=item.verdict,
        has_range=bool(item.allowed),
        out_of_range=not item.passes,
        note="; ".join(filter(None, notes)),
        computed=item.computed,
    )


def _position_in_range(item: CheckedClearance, value: float) -> float | None:
    minimum, maximum = item.allowed.minimum, item.allowed.maximum
    if minimum is None or maximum is None or minimum >= maximum:
        return None
    return round((value - minimum) / (maximum - minimum), 4)


def _check_remarks(build: Build) -> tuple[LabelledValue, ...]:
    """Return the checks that were answered in text."""
    checks = build.assembly.checks if build.assembly else None
    if checks is None:
        return ()
    return labelled(
        ("Oil reached every rocker", checks.oil_reached_every_rocker),
        ("Lash set", checks.lash_when),
        *((capitalize(check.name), "; ".join(filter(None, (check.found, check.verdict)))) for check in checks.other),
    )


def _work(build: Build) -> TextTable | None:
    rows = []
    for item in build.work.operations if build.work else ():
        readings = [cell(reading, False).text for reading in (item.before, item.after) if reading is not None]
        what = item.what if item.note is None else f"{item.what}. {' '.join(item.note.split())}"
        date = format_date(item.when) if item.when else ""
        rows.append((date, item.on or "", what, " → ".join(readings), item.who or ""))
    return TextTable(("Day", "On", "What was done", "Before → after", "By"), tuple(rows)) if rows else None


def _fluids(build: Build) -> TextTable | None:
    rows = tuple(
        (capitalize(fluid.what), fluid.grade or "", cell(fluid.amount).text if fluid.amount else "")
        for fluid in (build.delivery.fluids if build.delivery else ())
    )
    return TextTable(("Fluid", "Grade", "Amount"), rows) if rows else None


def _services(build: Build) -> TextTable | None:
    services = build.delivery.services if build.delivery else ()
    rows = tuple((capitalize(service.at), service.do, "") for service in services)
    return TextTable(("When", "What", "Done: day, reading, by"), rows) if rows else None


def _fuel(build: Build) -> str:
    fuel = build.build.engine.fuel
    return ", ".join(filter(None, (as_written(fuel.kind), fuel.octane, fuel.note))) if fuel else ""


def _sign_off(build: Build) -> tuple[SignOffLine, ...]:
    recorded = [
        SignOffLine(capitalize(entry.what), entry.who or "", format_date(entry.when) if entry.when else "")
        for entry in (build.delivery.signed if build.delivery else ())
    ]
    blank = ("Handed over by", "Received by") if recorded else (
        "Assembled by", "Looked over by", "Handed over by", "Received by")  # fmt: skip
    return (*recorded, *(SignOffLine(role, "", "") for role in blank))
