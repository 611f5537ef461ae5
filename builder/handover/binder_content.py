"""What goes into the binder, as plain frozen values: the template only sets them."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from builder.figures.core.types import Figure, FigureSheet
from builder.figures.review.clearance_checks import CheckedClearance, Measurement
from builder.handover import procedures as said
from builder.handover.joints import Joint, joints
from builder.handover.limits import LimitLine, limits_of
from builder.handover.parts_list import PartLine, parts_of
from builder.handover.performance import Performance, performance_of
from builder.handover.record_rows import (
    LabelledValue,
    NamedGroup,
    NamedTable,
    cam_groups,
    rows_of,
    specification_groups,
)
from builder.handover.rich_text import Block, parse_blocks
from builder.publish.pages.build.headline import headline, kind_of_engine
from builder.publish.pages.build.record_tables import chapters
from builder.publish.pages.formatting import format_date
from builder.record.models.build import Build
from builder.record.models.shop import Shop


@dataclass(frozen=True)
class HeadlineItem:
    """One number set large."""

    title: str
    number: str
    unit: str
    small: str


@dataclass(frozen=True)
class RangeMark:
    """One reading of a fit: at which position, as written, where it lies in the range (0 to 1), whether out."""

    label: str
    text: str
    place: float | None
    out: bool


@dataclass(frozen=True)
class FitLine:
    """One measured fit or check."""

    title: str
    allowed: str
    whose: str
    measured: str
    mean: str
    axis: str
    marks: tuple[RangeMark, ...]
    verdict: str
    out: bool
    note: str
    computed: bool


@dataclass(frozen=True)
class ProcedureBlock:
    """Steps in order."""

    steps: tuple[str, ...]
    why: str
    whose: str


@dataclass(frozen=True)
class SignOffLine:
    """A line to sign on, with who signed and when, as far as recorded."""

    what: str
    who: str
    when: str


@dataclass(frozen=True)
class Binder:
    """Everything the document says, section by section; what is empty was not recorded."""

    title: str
    number: str
    shop: str
    shop_lines: tuple[str, ...]
    kind: str
    dated: str
    """The day of the document, year-month-day; empty where the record knows none."""
    date_text: str
    """The same in words."""
    owner: tuple[LabelledValue, ...]
    invented: str
    facts: tuple[LabelledValue, ...]
    summary: tuple[Block, ...]
    goals: tuple[Block, ...]
    headline: tuple[HeadlineItem, ...]
    performance: Performance | None
    figures: tuple[LabelledValue, ...]
    specification: tuple[NamedGroup, ...]
    work: NamedTable | None
    fits: tuple[FitLine, ...]
    checks: tuple[FitLine, ...]
    discrepancies: tuple[LabelledValue, ...]
    cam: tuple[NamedGroup, ...]
    joints: tuple[Joint, ...]
    settings: tuple[LabelledValue, ...]
    fluids: NamedTable | None
    least_octane: str
    fuel: str
    first_start: ProcedureBlock
    running_in: ProcedureBlock
    limits: tuple[LimitLine, ...]
    services: NamedTable | None
    parts: tuple[PartLine, ...]
    not_used: tuple[PartLine, ...]
    cautions: tuple[str, ...]
    note: tuple[Block, ...]
    warranty: tuple[Block, ...]
    signed: tuple[SignOffLine, ...]
    unrecorded: tuple[str, ...]
    sources: tuple[str, ...]
    address: str


def binder_of(build: Build, sheet: FigureSheet, shop: Shop, archive: Path | None) -> Binder:
    """The binder of a build that has been through ``without_private``."""
    words = said.read_words(archive)
    both = shop.units == "both"
    of, delivery = build.build, build.delivery
    judged = sheet.clearances
    return Binder(
        title=of.title,
        number=of.number or build.slug,
        shop=shop.name,
        shop_lines=tuple(line for line in (shop.place, shop.contact, shop.site_address) if line),
        kind=kind_of_engine(build),
        dated=found.isoformat() if (found := dated(build)) else "",
        date_text=format_date(found) if found else "",
        owner=tuple(_owner(build)),
        invented=of.invented or "",
        facts=tuple(_facts(build)),
        summary=parse_blocks(of.summary),
        goals=parse_blocks(of.goals),
        headline=tuple(
            HeadlineItem(each.title, each.number, each.unit, " · ".join(each.notes)) for each in headline(sheet)
        ),
        performance=performance_of(build, sheet, shop, words),
        figures=_figures(sheet),
        specification=specification_groups(build, both),
        work=_work(build),
        fits=tuple(_fit(fit) for fit in judged if fit.kind in ("fit", "bore", "joint")),
        checks=tuple(_fit(fit) for fit in judged if fit.kind == "check"),
        discrepancies=tuple(_found(build)),
        cam=cam_groups(build, both),
        joints=joints(build),
        settings=rows_of(delivery.settings, both) if delivery and delivery.settings else (),
        fluids=_fluids(build),
        least_octane=(delivery.least_octane if delivery else None) or "",
        fuel=_fuel(build),
        first_start=_steps(said.first_start(build, shop, words)),
        running_in=_steps(said.running_in(build, shop, words)),
        limits=limits_of(build, sheet, shop),
        services=_services(build),
        parts=parts_of(build),
        not_used=_not_used(build),
        cautions=said.cautions(shop, words),
        note=parse_blocks(delivery.note if delivery else None),
        warranty=parse_blocks(said.warranty(build, shop)),
        signed=_signed(build),
        unrecorded=tuple(chapter.title for chapter in chapters(build) if not chapter.groups),
        sources=tuple(dict.fromkeys(figure.method.source for figure in sheet.figures)),
        address=page_address(build, shop),
    )


def dated(build: Build) -> datetime.date | None:
    """The day on the cover: delivered, else finished, else the last day the record knows."""
    days = (
        build.delivery.delivered if build.delivery else None,
        build.build.finished,
        build.dyno.date if build.dyno else None,
        build.build.started,
    )
    return next((each for each in days if each is not None), None)


def page_address(build: Build, shop: Shop) -> str:
    """Where the build's page stands, once the site's address is known and the build is finished; else empty."""
    address = (shop.site_address or "").strip().rstrip("/")
    if build.build.status != "finished" or not address.startswith(("http://", "https://")) or " " in address:
        return ""
    return f"{address}/builds/{build.slug}/index.html"


def _owner(build: Build) -> list[LabelledValue]:
    """What the shop lets this customer's own binder hold; the rest was taken out before."""
    customer = build.build.customer
    rows = (
        ("For", customer.name if customer else None),
        ("Contact", customer.contact if customer else None),
        ("Address", " ".join(customer.address.split()) if customer and customer.address else None),
        ("Registration", build.build.registration),
        ("Engine number", build.build.engine_serial),
    )
    return [LabelledValue(title, text) for title, text in rows if text]


def _facts(build: Build) -> list[LabelledValue]:
    of, delivery = build.build, build.delivery
    rows = (
        ("Build number", of.number),
        ("Family", of.family),
        ("Kind", kind_of_engine(build)),
        ("Built for", of.purpose),
        ("Year of the engine", None if of.engine.year is None else str(of.engine.year)),
        ("Fuelling", of.engine.fuelling),
        ("Induction", of.engine.induction),
        ("Cooling", of.engine.cooling),
        ("Firing order", of.engine.firing_order),
        ("Started", format_date(of.started) if of.started else None),
        ("Finished", format_date(of.finished) if of.finished else None),
        ("Handed over", format_date(delivery.delivered) if delivery and delivery.delivered else None),
        ("Assembled by", build.assembly.by if build.assembly else None),
    )
    return [LabelledValue(title, text) for title, text in rows if text]


_SPECIFIED = (
    "displacement", "swept_volume", "bore_stroke_ratio", "rod_ratio", "compression_ratio", "effective_compression_ratio",
    "deck_clearance", "quench", "clearance_volume", "mean_piston_speed", "valve_lift", "lobe_separation",
    "installed_centreline", "exhaust_centreline", "cam_advance", "overlap", "spring_rate",
    "seat_load", "open_load", "coil_bind_clearance", "piston_to_valve",
)  # fmt: skip


def _figures(sheet: FigureSheet) -> tuple[LabelledValue, ...]:
    found = [sheet.get(slug) for slug in _SPECIFIED]
    return tuple(_named(figure) for figure in found if figure is not None)


def _named(figure: Figure) -> LabelledValue:
    remarks = []
    least, most = figure.minimum, figure.maximum
    if least and most and least.display != most.display:
        axis = f"{figure.axis} " if least.label.isdigit() else ""
        if len(figure.positions) <= 3 and not axis:
            remarks.append(", ".join(f"{each.label} {each.display}" for each in figure.positions))
        else:
            remarks.append(f"{least.display} ({axis}{least.label}) to {most.display} ({axis}{most.label})")
    remarks += figure.cautions
    return LabelledValue(figure.title, figure.display, figure.alternate_text or "", tuple(remarks), figure.provenance)


def _fit(fit: CheckedClearance) -> FitLine:
    marks = tuple(RangeMark(at.label, at.text, _place(fit, at.value), at.out_of_range) for at in fit.readings)
    low, high = fit.minimum, fit.maximum
    found = low.text if len(fit.readings) == 1 or low.text == high.text else _span(low, high)
    if len(fit.readings) > 1 and low.text == high.text:
        found = f"{found}, all {len(fit.readings)}"
    accepted = fit.accepted
    note = [f"accepted by {accepted.by}: {accepted.why}"] if accepted and fit.out_of_range else []
    if fit.outlier:
        note.append(f"{fit.axis} {fit.outlier} stands out")
    note += [fit.note] if fit.note else []
    note += [f"gauged by {fit.by}"] if fit.by else []
    return FitLine(
        fit.title, fit.allowed.text, fit.allowed.authority_text, found, fit.mean_text if len(marks) > 1 else "",
        fit.axis or "", marks, fit.verdict, not fit.passes, "; ".join(note), fit.computed,
    )  # fmt: skip


def _span(low: Measurement, high: Measurement) -> str:
    """Return both ends of a range, with the unit once: `0.054 to 0.060 mm`."""
    return f"{low.number if low.unit == high.unit != '°' else low.text} to {high.text}"


def _place(fit: CheckedClearance, value: float) -> float | None:
    least, most = fit.allowed.minimum, fit.allowed.maximum
    if least is None or most is None or least >= most:
        return None
    return round((value - least) / (most - least), 4)


def _found(build: Build) -> list[LabelledValue]:
    """Checks that were answered in words."""
    checks = build.assembly.checks if build.assembly else None
    if checks is None:
        return []
    said = (("Oil reached every rocker", checks.oil_reached_every_rocker), ("Lash set", checks.lash_when))
    rows = [LabelledValue(title, text) for title, text in said if text]
    for other in checks.other:
        words = "; ".join(filter(None, (other.found, other.verdict)))
        if words:
            rows.append(LabelledValue(other.name[:1].upper() + other.name[1:], words))
    return rows


def _work(build: Build) -> NamedTable | None:
    operations = build.work.operations if build.work else ()
    if not operations:
        return None
    from builder.publish.pages.build.record_tables import cell

    rows = []
    for each in operations:
        readings = " → ".join(cell(reading, False).text for reading in (each.before, each.after) if reading is not None)
        what = each.what if each.note is None else f"{each.what}. {' '.join(each.note.split())}"
        rows.append((format_date(each.when) if each.when else "", each.on or "", what, readings, each.who or ""))
    return NamedTable(("Day", "On", "What was done", "Before → after", "By"), tuple(rows))


def _fluids(build: Build) -> NamedTable | None:
    from builder.publish.pages.build.record_tables import cell

    fluids = build.delivery.fluids if build.delivery else ()
    rows = tuple(
        (fluid.what[:1].upper() + fluid.what[1:], fluid.grade or "", cell(fluid.amount).text if fluid.amount else "")
        for fluid in fluids
    )
    return NamedTable(("Fluid", "Grade", "Amount"), rows) if rows else None


def _services(build: Build) -> NamedTable | None:
    services = build.delivery.services if build.delivery else ()
    rows = tuple((each.at[:1].upper() + each.at[1:], each.do, "") for each in services)
    return NamedTable(("When", "What", "Done: day, reading, by"), rows) if rows else None


def _fuel(build: Build) -> str:
    fuel = build.build.engine.fuel
    return ", ".join(filter(None, (fuel.kind, fuel.octane, fuel.note))) if fuel else ""


def _not_used(build: Build) -> tuple[PartLine, ...]:
    parts = build.parts.parts if build.parts else ()
    return tuple(
        PartLine(part.part, part.maker or "", part.number or "", str(part.quantity or ""), part.verdict or "",
                 part.done or "")
        for part in parts if part.verdict in ("returned", "scrapped")
    )  # fmt: skip


def _steps(steps: said.Procedure) -> ProcedureBlock:
    return ProcedureBlock(steps.steps, steps.why, steps.whose)


def _signed(build: Build) -> tuple[SignOffLine, ...]:
    recorded = tuple(
        SignOffLine(each.what[:1].upper() + each.what[1:], each.who or "", format_date(each.when) if each.when else "")
        for each in (build.delivery.signed if build.delivery else ())
    )
    usual = () if recorded else (SignOffLine("Assembled by", "", ""), SignOffLine("Looked over by", "", ""))
    return (*recorded, *usual, SignOffLine("Handed over by", "", ""), SignOffLine("Received by", "", ""))
