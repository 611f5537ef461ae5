"""The bench sheet: boxes for every reading that a build needs, in the order of the work, to be filled in by hand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

from builder.figures.core.display_units import System, join_unit, system_for, written_number, written_text
from builder.figures.review.clearance_checks import allowed_range, recorded_range
from builder.publish.sheets.worksheet_sections import SECTIONS, MeasuredField, Section, measured_fields, section_of
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.models.cam import EqualLift, Events, ExhaustEqualLift
from builder.record.models.fields import RecordModel, notes_of, title_of
from builder.record.models.shop import Shop
from builder.record.models.top_end import FlowPoint, SpringReading
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import NUMBER, Quantity
from builder.record.schema_shape import shape_of
from builder.record.usual_units import usual_units
from builder.record.wording import capitalize, cut, in_sentence

_BOXES_A_LINE = 8
_BLANK_JOINTS = 10
_DEPTHS = ("top", "middle", "bottom")
_BORES_AT, _FASTENERS_AT = "work.bore_gauging", "assembly.fasteners"
_LISTS: dict[str, tuple[type[RecordModel], int]] = {
    "top_end.heads.flow_bench.intake": (FlowPoint, 8),
    "top_end.heads.flow_bench.exhaust": (FlowPoint, 8),
    "top_end.springs.tested": (SpringReading, 4),
    "cam.degreeing.intake": (EqualLift, 3),
    "cam.degreeing.exhaust": (ExhaustEqualLift, 3),
    "cam.degreeing.events": (Events, 2),
}
"""Lists of entries that are filled in at the bench: what an entry holds, and the number of blank ones."""
_SECTION_MODELS = (
    "bottom_end", "bottom_end.block", "bottom_end.crankshaft", "bottom_end.rods", "bottom_end.pistons",
    "bottom_end.bearings", "top_end.heads", "top_end.springs", "ports", "assembly.fits", "assembly.checks",
    "delivery.settings",
)  # fmt: skip
"""Models whose fields need no more than the title of their section to be understood."""
_TITLES = {"cam.degreeing.intake": "Intake lobe", "cam.degreeing.exhaust": "Exhaust lobe", "cam.degreeing.events": ""}


@dataclass(frozen=True)
class BoxRow:
    """One reading: its name and path, unit, what is allowed, the instrument, and what is known at each position."""

    title: str
    path: str
    unit: str
    allowed: str
    instrument: str
    known: str
    boxes: tuple[str, ...]


@dataclass(frozen=True)
class BoxTable:
    """Readings that are taken at the same positions; ``axis`` is empty where each has a single box."""

    axis: str
    labels: tuple[str, ...]
    rows: tuple[BoxRow, ...]


@dataclass(frozen=True)
class JointRow:
    """One joint: a box to tick for each pass of the wrench."""

    title: str
    detail: str
    passes: tuple[str, ...]


@dataclass(frozen=True)
class WorksheetSection:
    """One section of the bench sheet."""

    slug: str
    title: str
    notes: tuple[str, ...]
    tables: tuple[BoxTable, ...]
    joints: tuple[JointRow, ...] = ()


def worksheet_of(build: Build, shop: Shop, only: Sequence[str] = ()) -> tuple[WorksheetSection, ...]:
    """Return the sections of the bench sheet that apply to the engine; only those named, where any are."""
    sections = (_section(build, shop, section) for section in SECTIONS if _is_wanted(build, section, only))
    return tuple(section for section in sections if section.tables or section.joints)


def worksheet_data(sections: Sequence[WorksheetSection]) -> list[dict[str, Any]]:
    """Return the sections for the template."""
    return [asdict(section) for section in sections]


def _is_wanted(build: Build, section: Section, only: Sequence[str]) -> bool:
    if only:
        return section.slug in only
    return not section.is_optional or any(build.get(path) is not None for path in section.paths)


def _section(build: Build, shop: Shop, section: Section) -> WorksheetSection:
    fields = [item for item in measured_fields() if item.section == section.slug and item.applies(build)]
    row = partial(_row, build, shop, section.instrument)
    by_axis: dict[str | None, list[MeasuredField]] = {}
    for item in sorted(fields, key=lambda item: _order(section, item)):
        by_axis.setdefault(item.axis, []).append(item)
    tables = [
        table
        for axis, items in by_axis.items()
        for table in _tables(axis or "", _positions(build, axis), [row(item) for item in items])
    ]
    tables += _tables("", 1, list(_other_rows(build, section.slug)))
    for path, (model, blanks) in _LISTS.items():
        if section_of(path) == section.slug and (build.has_valves or build.get(path) is not None):
            tables += _list_tables(build, shop, path, model, blanks)
    if section.slug == "bores":
        return WorksheetSection(
            section.slug, section.title, tuple(_bore_notes(build)), (*_bore_tables(build, shop), *tables)
        )
    if section.slug == "torques":
        return WorksheetSection(section.slug, section.title, (), tuple(_stretch_tables(build)), tuple(_joints(build)))
    return WorksheetSection(section.slug, section.title, (), tuple(tables))


def _order(section: Section, item: MeasuredField) -> int:
    """Return the place of a field among the paths of its section."""
    places = ((len(path), -index) for index, path in enumerate(section.paths) if f"{item.path}.".startswith(f"{path}."))
    return -max(places)[1]


def _positions(build: Build, axis: str | None) -> int:
    """Return how many positions an axis has on this engine: as many as were recorded, else as its layout has."""
    if axis is None:
        return 1
    cylinders, layout = build.cylinders, build.build.engine.layout
    if axis == "cylinder":
        return cylinders
    if axis == "corner":
        return 4
    if axis.endswith(" valve"):
        return cylinders * (build.get(f"top_end.heads.{axis.replace(' ', '_')}.per_cylinder") or 1)
    recorded = [
        len(reading.measured)
        for item in measured_fields()
        if item.axis == axis and isinstance(reading := build.get(item.path), Reading)
    ]
    if max(recorded, default=0) > 1:
        return max(recorded)
    throws = cylinders // 2 if layout in ("V", "flat") and cylinders > 1 else cylinders
    return (cylinders if layout == "flat" else throws) if axis == "crankpin" else throws + 1


def _tables(axis: str, count: int, rows: Sequence[BoxRow]) -> Iterator[BoxTable]:
    """Yield the rows as tables of at most eight boxes in a line."""
    if not rows:
        return
    for start in range(0, count, _BOXES_A_LINE):
        labels = tuple(str(index + 1) for index in range(start, min(count, start + _BOXES_A_LINE)))
        yield BoxTable(
            capitalize(axis),
            labels if axis else ("",),
            tuple(replace(row, boxes=row.boxes[start : start + len(labels)]) for row in rows),
        )


def _row(build: Build, shop: Shop, instrument: str, item: MeasuredField) -> BoxRow:
    value = build.get(item.path)
    known, boxes = _known(value, _positions(build, item.axis))
    return BoxRow(
        title=_title(item),
        path=item.path,
        unit=_unit(value, item, system_for(build, shop)),
        allowed=allowed_range(build, shop, item.path).text,
        instrument=item.instrument(instrument),
        known=known,
        boxes=boxes,
    )


def _title(item: MeasuredField) -> str:
    """Return the title of a field, with that of its model in front where the section's title does not say it."""
    model, _, name = item.path.rpartition(".")
    title = title_of(name, item.info)
    if model in _SECTION_MODELS:
        return title
    return f"{capitalize(model.rpartition('.')[2].replace('_', ' '))}: {in_sentence(title)}"


def _other_rows(build: Build, slug: str) -> Iterator[BoxRow]:
    """Yield the clearances and checks that the record names itself."""
    path = {"rings": "assembly.fits.other", "checks": "assembly.checks.other"}.get(slug)
    for item in (build.get(path) if path else None) or ():
        reading = item.reading
        if reading is None:
            continue
        known, boxes = _known(reading, 1)
        unit = printed_unit(reading.quantities[0].unit) if reading.quantities else ""
        yield BoxRow(
            capitalize(cut(item.name, 60)), f"{path}.reading", unit, recorded_range(reading).text, "", known, boxes
        )


def _known(value: Any, count: int) -> tuple[str, tuple[str, ...]]:
    """Return what is known next to the boxes, and in each box."""
    blank = ("",) * count
    if isinstance(value, Quantity):
        return "", (written_number(value), *blank[1:])
    if isinstance(value, (int, float)):
        return "", (f"{value:g}", *blank[1:])
    if not isinstance(value, Reading):
        return "", blank
    texts = [f"catalog {written_text(value.listed)}"] if value.listed is not None and not value.is_plain else []
    if value.is_plain and value.listed is not None:
        texts.append(f"recorded {written_text(value.listed)}")
    measured = value.measured or value.repeats
    if len(measured) == count:
        return ", ".join(texts), tuple(map(written_number, measured))
    if measured:
        numbers = " · ".join(map(written_number, measured))
        texts.append(f"measured {join_unit(numbers, printed_unit(measured[0].unit))}")
    return ", ".join(texts), blank


def _unit(value: Any, item: MeasuredField, system: System) -> str:
    if isinstance(value, Quantity):
        return printed_unit(value.unit)
    if isinstance(value, Reading) and value.quantities:
        return printed_unit((value.preferred or value.quantities)[0].unit)
    return _usual_unit(item.info, item.dimension, system)


def _usual_unit(info: Any, dimension: str | None, system: System) -> str:
    units = notes_of(info).units if dimension in (None, NUMBER) else usual_units(notes_of(info), dimension)
    return printed_unit(units[0 if system == "inch" else -1]) if units else ""


def _list_tables(build: Build, shop: Shop, path: str, model: type[RecordModel], blanks: int) -> Iterator[BoxTable]:
    """Yield the boxes of a list of entries: a row for each field, a column for each entry."""
    entries = build.get(path) or ()
    count = max(blanks, len(entries))
    name = _TITLES.get(path, capitalize(path.rpartition(".")[2]))
    rows = []
    for field, info in model.model_fields.items():
        values = [getattr(entry, field) for entry in entries]
        known = [value for value in values if isinstance(value, Quantity)]
        unit = (
            printed_unit(known[0].unit)
            if known
            else _usual_unit(info, shape_of(info).dimension, system_for(build, shop))
        )
        title = title_of(field, info)
        meaning = notes_of(info).description if model in (Events, EqualLift, ExhaustEqualLift) else ""
        texts = [_text(value) for value in values]
        boxes = (*texts, *("",) * (count - len(texts)))
        rows.append(
            BoxRow(f"{name}: {title.lower()}" if name else title, f"{path}.{field}", unit, "", "", meaning, boxes)
        )
    yield from _tables("reading", count, rows)


def _text(value: Any) -> str:
    if value is None:
        return ""
    return written_number(value) if isinstance(value, Quantity) else str(value)


def _bore_notes(build: Build) -> Iterator[str]:
    card = build.get(_BORES_AT)
    for title, most in (("Taper", card and card.taper_at_most), ("Out of round", card and card.out_of_round_at_most)):
        if most:
            yield f"{title}: at most {written_text(most)}"


def _bore_tables(build: Build, shop: Shop) -> Iterator[BoxTable]:
    """Yield the bore gauge card: two axes at every depth of every cylinder."""
    card = build.get(_BORES_AT)
    unit = card.unit if card else ("in" if system_for(build, shop) == "inch" else "mm")
    depths = (card.depths if card else ()) or _DEPTHS
    known = {bore.cylinder: bore.depths for bore in card.cylinders} if card else {}
    rows = []
    for index, depth in enumerate(depths):
        for axis, meaning in (("across", "across crank"), ("along", "along crank")):
            boxes = []
            for cylinder in range(1, build.cylinders + 1):
                gauged = known.get(cylinder, ())
                boxes.append(f"{getattr(gauged[index], axis):.10g}" if index < len(gauged) else "")
            path = f"{_BORES_AT}.cylinders.depths.{axis}"
            rows.append(BoxRow(f"{capitalize(depth)}, {meaning}", path, unit, "", "dial bore gauge", "", tuple(boxes)))
    yield from _tables("cylinder", build.cylinders, rows)


def _joints(build: Build) -> Iterator[JointRow]:
    joints: Sequence[Fastener] = build.get(_FASTENERS_AT) or ()
    for joint in joints:
        count = f"qty {joint.count}" if joint.count else ""
        detail = " · ".join(filter(None, (joint.size, count, joint.lubricant, joint.according_to)))
        passes = [written_text(step) for step in joint.steps]
        final = joint.torque.preferred[0] if joint.torque and joint.torque.preferred else None
        if final is not None and (not joint.steps or joint.steps[-1].si != final.si):
            passes.append(written_text(final))
        if joint.angle is not None:
            passes.append(f"+ {written_text(joint.angle)}")
        yield JointRow(capitalize(joint.joint), cut(detail, 110), tuple(passes) or ("",) * 3)
    if not joints:
        for _ in range(_BLANK_JOINTS):
            yield JointRow("", "", ("",) * 3)


def _stretch_tables(build: Build) -> Iterator[BoxTable]:
    """Yield boxes for the stretch of every bolt of the joints that are tightened by it."""
    joints: Sequence[Fastener] = build.get(_FASTENERS_AT) or ()
    for joint in joints:
        if (stretch := joint.stretch) is None:
            continue
        count = joint.count or max(len(stretch.measured), 1)
        known, boxes = _known(stretch, count)
        unit, allowed = printed_unit(stretch.quantities[0].unit), recorded_range(stretch).text
        title, path = f"{capitalize(joint.joint)}, stretch", f"{_FASTENERS_AT}.stretch"
        yield from _tables("bolt", count, [BoxRow(title, path, unit, allowed, "stretch gauge", known, boxes)])
