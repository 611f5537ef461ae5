"""The content of the binder as frozen values, which the template prints as they are."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from builder.archive.engine_history import EngineHistory
from builder.figures.core.display_units import System, written_text
from builder.figures.core.types import FigureSheet
from builder.figures.review.clearance_checks import CheckedClearance
from builder.handover.limits import LimitLine, limits_of
from builder.handover.parts_list import PartLine, PartsGroup, installed_parts, rejected_parts
from builder.handover.procedures import Procedure, break_in, cautions, first_start, read_texts
from builder.handover.rich_text import TextBlock, parse_blocks, plain_text
from builder.handover.warranty import Warranty, warranty_of
from builder.publish.pages.archive.engine_page import timeline
from builder.publish.pages.archive.engine_wear import wear_readings
from builder.publish.pages.build.goals_section import GoalRow, goal_rows
from builder.publish.pages.build.headline import Headline, headline, performance_sentences
from builder.publish.pages.build.record_tables import RARE_CHAPTERS, cell, chapters, table_of
from builder.publish.pages.formatting import format_date, sentence
from builder.publish.sheets.build_sheet import measured_text
from builder.publish.sheets.identity import Identity, engine_text, identity_of
from builder.publish.sheets.joints import Joint, joints
from builder.publish.sheets.record_rows import LabelledValue, TextTable, ValueGroup, labelled, rows_of, value_groups
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import as_written
from builder.record.wording import capitalize


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
    source: str
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
class OperatingSheet:
    """What the owner needs at the engine: first start, break-in, limits, fluids, settings, service."""

    contact: tuple[LabelledValue, ...]
    first_start: Procedure
    break_in: Procedure
    limits: tuple[LimitLine, ...]
    fluids: TextTable | None
    minimum_octane: str
    fuel: str
    settings: tuple[LabelledValue, ...]
    services: tuple[tuple[str, str], ...]
    """When, and what is done then."""
    note: tuple[TextBlock, ...]


@dataclass(frozen=True)
class Binder:
    """The content of the binder, section by section; what is empty was not recorded."""

    identity: Identity
    customer: tuple[LabelledValue, ...]
    facts: tuple[LabelledValue, ...]
    summary: tuple[TextBlock, ...]
    brief: tuple[TextBlock, ...]
    goals: tuple[GoalRow, ...]
    headline: tuple[Headline, ...]
    performance: tuple[str, ...]
    """What the engine made as delivered, and at best during testing, as sentences."""
    operating: OperatingSheet
    clearances: tuple[ClearanceLine, ...]
    checks: tuple[ClearanceLine, ...]
    check_remarks: tuple[LabelledValue, ...]
    cam: tuple[ValueGroup, ...]
    joints: tuple[Joint, ...]
    seals: TextTable | None
    parts: tuple[PartsGroup, ...]
    rejected_parts: tuple[PartLine, ...]
    history: TextTable | None
    engine_history: TextTable | None
    """What happened to the engine before and since this build, where it was built before or serviced."""
    engine_wear: TextTable | None
    """The most worn position of each reading, as built last time and as the engine came back."""
    cautions: tuple[str, ...]
    accepted: tuple[str, ...]
    """Cautions that the shop accepted, with the reason, where the customer sees them."""
    warranty: Warranty
    sign_off: tuple[SignOffLine, ...]
    not_recorded: tuple[str, ...]


def binder_of(
    build: Build, sheet: FigureSheet, shop: Shop, archive: Path | None, history: EngineHistory | None = None
) -> Binder:
    """Return the binder of a build that has been through ``without_private``, with the history of its engine."""
    texts = read_texts(archive)
    both = shop.units == "both"
    record, delivery = build.build, build.delivery
    place = len(history.builds) if history else None
    return Binder(
        identity=identity_of(build, shop, place),
        customer=_customer(build),
        facts=_facts(build, place),
        summary=parse_blocks(record.summary),
        brief=parse_blocks(record.goals.text if record.goals else None),
        goals=goal_rows(sheet),
        headline=headline(sheet),
        performance=performance_sentences(build, sheet),
        operating=OperatingSheet(
            contact=_contact(shop),
            first_start=first_start(build, shop, texts),
            break_in=break_in(build, shop, texts),
            limits=limits_of(build, shop),
            fluids=_fluids(build),
            minimum_octane=(delivery.least_octane if delivery else None) or "",
            fuel=_fuel(build),
            settings=_settings(build, both),
            services=tuple((capitalize(item.at), item.do) for item in delivery.services) if delivery else (),
            note=parse_blocks(delivery.note if delivery else None),
        ),
        clearances=tuple(_clearance_line(item) for item in sheet.clearances if item.kind != "check"),
        checks=tuple(_clearance_line(item) for item in sheet.clearances if item.kind == "check"),
        check_remarks=_check_remarks(build),
        cam=value_groups(build, ("cam",), both),
        joints=joints(build),
        seals=_seals(build),
        parts=installed_parts(build),
        rejected_parts=rejected_parts(build),
        history=_history(build),
        engine_history=_engine_history(history, sheet.system) if history else None,
        engine_wear=_engine_wear(history) if history else None,
        cautions=cautions(shop, texts),
        accepted=tuple(sentence(caution.text) for caution in sheet.cautions if caution.accepted),
        warranty=warranty_of(build, shop),
        sign_off=_sign_off(build),
        not_recorded=tuple(
            chapter.title
            for chapter in chapters(build)
            if not chapter.groups
            and chapter.name not in RARE_CHAPTERS
            and (chapter.name != "ports" or record.engine.cycle == "two-stroke")
        ),
    )


def _customer(build: Build) -> tuple[LabelledValue, ...]:
    """Return the customer's fields that are in the record; private ones were removed from it before."""
    customer = build.build.customer
    return labelled(
        ("For", customer.name if customer else None),
        ("Contact", customer.contact if customer else None),
        ("Address", " ".join(customer.address.split()) if customer and customer.address else None),
        ("Registration", build.build.registration),
        ("Serial number", build.build.engine_serial),
    )


def _contact(shop: Shop) -> tuple[LabelledValue, ...]:
    return labelled(
        ("Shop", shop.name), ("Place", shop.place), ("Contact", shop.contact), ("Emergency", shop.emergency_contact)
    )


def _facts(build: Build, place: int | None) -> tuple[LabelledValue, ...]:
    record, engine = build.build, build.build.engine
    return labelled(
        ("Build number", record.number),
        ("Engine", engine_text(build, place)),
        ("Family", record.family),
        ("Built for", record.purpose),
        ("Year of the engine", None if engine.year is None else str(engine.year)),
        ("Fuel system", as_written(engine.fuel_system or "")),
        ("Induction", as_written(engine.induction or "")),
        ("Cooling", as_written(engine.cooling or "")),
        ("Firing order", engine.firing_order),
        ("Assembled by", build.assembly.by if build.assembly else None),
    )


def _clearance_line(item: CheckedClearance) -> ClearanceLine:
    notes = (
        f"accepted by {item.accepted.by}: {item.accepted.why}" if item.accepted and item.out_of_range else None,
        f"{item.axis} {item.outlier} differs from the rest" if item.outlier else None,
        item.note,
        f"measured by {item.by}" if item.by else None,
    )
    return ClearanceLine(
        title=item.title,
        allowed=item.allowed.text,
        source=item.allowed.authority or ("source not recorded" if item.allowed else ""),
        measured=measured_text(item),
        mean=item.mean_text if len(item.readings) > 1 else "",
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


def _history(build: Build) -> TextTable | None:
    """Return what was done to the engine, by date; what has no date comes behind what is before it in the record."""
    record, dyno, delivery = build.build, build.dyno, build.delivery
    events: list[tuple[datetime.date | None, tuple[str, ...]]] = []

    def milestone(date: datetime.date | None, what: str) -> None:
        if date is not None:
            events.append((date, ("", what, "", "")))

    milestone(record.started, "Work started")
    for item in build.work.operations if build.work else ():
        readings = [cell(reading, False).text for reading in (item.before, item.after) if reading is not None]
        what = item.what if item.note is None else f"{item.what}. {' '.join(item.note.split())}"
        events.append((item.when, (item.on or "", what, " → ".join(readings), item.who or "")))
    if dyno is not None and dyno.pulls:
        events.append((dyno.date, ("", f"Dyno session: {len(dyno.pulls)} pulls", "", dyno.by or "")))
    milestone(record.finished, "Finished")
    milestone(delivery.delivered if delivery else None, "Delivered")
    rows: list[tuple[datetime.date, tuple[str, ...]]] = []
    latest = datetime.date.min
    for date, texts in events:
        latest = date or latest
        rows.append((latest, (format_date(date) if date else "", *texts)))
    rows.sort(key=lambda row: row[0])
    return TextTable(("Date", "Part", "Work", "Before → after", "By"), tuple(row for _, row in rows)) if rows else None


def _settings(build: Build, both: bool) -> tuple[LabelledValue, ...]:
    delivery, limiter = build.delivery, build.get("top_end.ignition.rev_limiter")
    return (
        *(rows_of(delivery.settings, both) if delivery and delivery.settings else ()),
        *labelled(("Rev limiter", written_text(limiter) if limiter else None)),
    )


def _seals(build: Build) -> TextTable | None:
    """Return the seals, gaskets and sealants, joint by joint; columns that no joint has are left out."""
    seals = build.assembly.seals if build.assembly else ()
    table = table_of("", seals, False) if seals else None
    return TextTable(table.head, tuple(tuple(item.text for item in row) for row in table.rows)) if table else None


def _engine_history(history: EngineHistory, system: System) -> TextTable | None:
    """Return the days in the life of the engine; None where there is nothing but this build."""
    entries = timeline(history.builds, system)
    if len(entries) < 2:
        return None
    rows = tuple(
        (
            format_date(datetime.date.fromisoformat(entry.date)) if entry.date else "no date",
            entry.title,
            "; ".join(filter(None, (*entry.facts, plain_text(entry.text)))),
        )
        for entry in entries
    )
    return TextTable(("Date", "What", "Details"), rows)


def _engine_wear(history: EngineHistory) -> TextTable | None:
    rows = tuple(
        (
            ", ".join(filter(None, (reading.title, f"{reading.axis.lower()} {row.position}" if row.position else ""))),
            *(f"{text} {reading.unit}".strip() for text in (row.built, row.returned)),
            row.change,
            row.rebuilt,
            reading.limit,
        )
        for reading in wear_readings(history)
        if (row := reading.summary) is not None
    )
    return TextTable(("Reading", "As built", "As returned", "Change", "As rebuilt", "Spec"), rows) if rows else None


def _fluids(build: Build) -> TextTable | None:
    rows = tuple(
        (capitalize(fluid.what), fluid.grade or "", cell(fluid.amount).text if fluid.amount else "")
        for fluid in (build.delivery.fluids if build.delivery else ())
    )
    return TextTable(("Fluid", "Grade", "Amount"), rows) if rows else None


def _fuel(build: Build) -> str:
    fuel = build.build.engine.fuel
    return ", ".join(filter(None, (as_written(fuel.kind), fuel.octane, fuel.note))) if fuel else ""


def _sign_off(build: Build) -> tuple[SignOffLine, ...]:
    recorded = [
        SignOffLine(capitalize(entry.what), entry.who or "", format_date(entry.when) if entry.when else "")
        for entry in (build.delivery.signed if build.delivery else ())
    ]
    blank = ("Handed over by", "Received by") if recorded else (
        "Assembled by", "Inspected by", "Handed over by", "Received by")  # fmt: skip
    return (*recorded, *(SignOffLine(role, "", "") for role in blank))
