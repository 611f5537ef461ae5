"""Fasteners with both systems of units, the degree wheel, and the bore gauge card, as a page shows them."""

from __future__ import annotations

from collections.abc import Iterator

from builder.figures.core.display_units import convert_to_other_system, system_of_unit, written_text
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.definitions.cam_readings import wheel_centreline
from builder.figures.definitions.fasteners import joint_labels
from builder.publish.pages.build.record_tables import Cell, Table, cell, remarks
from builder.publish.pages.formatting import group_thousands
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.models.cam import Degreeing, EqualLift
from builder.record.models.work import BoreGauging
from builder.record.quantities.units import Quantity


def fasteners_table(build: Build, sheet: FigureSheet) -> Table | None:
    """Every joint as it was tightened, with its torque in both systems."""
    joints: tuple[Fastener, ...] = build.get("assembly.fasteners") or ()
    if not joints:
        return None
    preload = sheet.get("fastener_preload")
    forces, stretched = (_forces(sheet.get(slug), joints) for slug in ("fastener_preload", "stretch_preload"))
    share = f", give or take {preload.uncertainty / preload.value:.0%}" if preload and preload.uncertainty else ""
    head = ("Joint", "Bolts", "N m", "lbf ft", "Then", "Steps", "Lubricant", f"Clamping force, estimated{share}",
            "Done by", "According to", "Remarks")  # fmt: skip
    labels = joint_labels(joints)
    rows = [_joint(joint, label, forces, stretched) for joint, label in zip(joints, labels, strict=True)]
    return drop_empty_columns(Table("Fasteners", head, tuple(rows)))


_Forces = dict[str, tuple[str, str | None]]


def _forces(figure: Figure | None, joints: tuple[Fastener, ...]) -> _Forces:
    """The clamping force of every joint that has one, in both systems."""
    if figure is None:
        return {}
    if not figure.positions and len(joints) == 1:
        return {joint_labels(joints)[0]: (figure.display, figure.alternate_text)}
    return {p.label: (p.display, p.alternate_text) for p in figure.positions}


def _joint(joint: Fastener, label: str, forces: _Forces, stretched: _Forces) -> tuple[Cell, ...]:
    bolts = " × ".join(filter(None, (str(joint.count) if joint.count else None, joint.size)))
    then = []
    if joint.angle is not None:
        then.append(f"then {written_text(joint.angle)}")
    if joint.stretch is not None:
        said = cell(joint.stretch, False).text
        by_it = [f"clamping force by it {group_thousands(stretched[label][0])}"] if label in stretched else []
        then.append("; ".join((f"stretch {said}", *remarks(joint.stretch, False), *by_it)))
    quantity = joint.torque.preferred[0] if joint.torque is not None and joint.torque.preferred else None
    metric, inch = both_systems(quantity)
    force = forces.get(label)
    hands = [joint.by, f"re-checked by {joint.rechecked}" if joint.rechecked else None]
    torque_remarks = remarks(joint.torque, False) if joint.torque is not None else ()
    return (
        Cell(label[:1].upper() + label[1:]),
        Cell(bolts, joint.grade),
        Cell(metric, number=True),
        Cell(inch, number=True),
        Cell(", ".join(then)),
        Cell(", ".join(written_text(step) for step in joint.steps)),
        Cell(joint.lubricant or "", _lubrication_text(joint)),
        Cell(group_thousands(force[0]), group_thousands(force[1] or "") or None, number=True) if force else Cell(""),
        Cell("; ".join(hand for hand in hands if hand)),
        Cell(joint.according_to or ""),
        Cell("; ".join(filter(None, (*torque_remarks, joint.note)))),
    )


def _lubrication_text(joint: Fastener) -> str | None:
    if joint.nut_factor:
        return f"K {joint.nut_factor:g}"
    return f"friction {joint.friction:g}" if joint.friction else None


def stretch_tables(build: Build) -> tuple[Table, ...]:
    """The stretch of every bolt, for each joint where more than one was measured."""
    joints: tuple[Fastener, ...] = build.get("assembly.fasteners") or ()
    tables = []
    for joint, label in zip(joints, joint_labels(joints), strict=True):
        bolts = joint.stretch.measured if joint.stretch is not None else ()
        if len(bolts) > 1:
            head = ("Bolt", *(str(index + 1) for index in range(len(bolts))))
            row = (Cell("Stretch"), *(Cell(written_text(bolt), number=True) for bolt in bolts))
            tables.append(Table(f"{label[:1].upper()}{label[1:]}, stretch", head, (row,)))
    return tuple(tables)


def both_systems(quantity: Quantity | None) -> tuple[str, str]:
    """A torque in N m and in lbf ft, without the units; the one it was written in as it was written."""
    if quantity is None:
        return "", ""
    written, other = written_text(quantity), convert_to_other_system(quantity) or ""
    if system_of_unit(quantity) == "metric":
        return _strip_unit(written, "N\N{NO-BREAK SPACE}m", "N m"), _strip_unit(other, "lbf ft")
    return _strip_unit(other, "N m"), _strip_unit(written, "lbf ft")


def _strip_unit(text: str, *units: str) -> str:
    """The number alone where it is in the unit of its column; with its unit where it is not."""
    for unit in units:
        if text.endswith(f"\N{NO-BREAK SPACE}{unit}"):
            return text[: -len(unit) - 1]
    return text


def degreeing_tables(build: Build) -> tuple[Table, ...]:
    """Both readings at every lift, the centreline found between them, the card's, and the events."""
    wheel: Degreeing | None = build.get("cam.degreeing")
    if wheel is None:
        return ()
    tables = (_centrelines(build, wheel), _events(wheel))
    return tuple(drop_empty_columns(table) for table in tables if table.rows)


def _centrelines(build: Build, wheel: Degreeing) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for side, counted, readings in (("Intake", "after TDC", wheel.intake), ("Exhaust", "before TDC", wheel.exhaust)):
        card = build.get(f"cam.card.{side.lower()}.centreline")
        rows += (_centreline(side, counted, reading, card) for reading in readings)
    head = ("Lobe", "At lobe lift", "Opening side", "Closing side", "Centreline found", "Card", "Off the card")
    return Table("Peak lift from both sides", head, tuple(rows))


def _centreline(side: str, counted: str, reading: EqualLift, card: Quantity | None) -> tuple[Cell, ...]:
    try:
        found = wheel_centreline(reading, side.lower())
    except ValueError:  # both readings at one place: no middle lies between them
        return (
            Cell(side),
            cell(reading.lift),
            cell(reading.opening, False),
            cell(reading.closing, False),
            *[Cell("")] * 3,
        )
    off = "" if card is None else f"{found - card.si:+.2f}".rstrip("0").rstrip(".").replace("-", "−") + "°"
    return (
        Cell(side),
        cell(reading.lift),
        cell(reading.opening, False),
        cell(reading.closing, False),
        Cell(f"{found:.2f}".rstrip("0").rstrip(".") + "°", counted, number=True),
        cell(card, False) if card is not None else Cell(""),
        Cell("±0°" if off in ("+0°", "−0°") else off, number=True),
    )


def _events(wheel: Degreeing) -> Table:
    names = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes")
    head = ("At lift", "Intake opens, before TDC", "Intake closes, after BDC", "Exhaust opens, before BDC",
            "Exhaust closes, after TDC")  # fmt: skip
    rows = []
    for events in wheel.events:
        values = (getattr(events, name) for name in names)
        rows.append((Cell(events.at), *(Cell("") if value is None else cell(value, False) for value in values)))
    return Table("Valve events by the degree wheel", head, tuple(rows))


def degreeing_remarks(build: Build) -> Iterator[str]:
    """Who turned the wheel, and how."""
    wheel: Degreeing | None = build.get("cam.degreeing")
    if wheel is not None and wheel.by:
        yield f"By {wheel.by}."
    if wheel is not None and wheel.note:
        yield wheel.note[:1].upper() + wheel.note[1:] + "."


def bore_table(build: Build) -> Table | None:
    """Every bore at every depth, across and along the crank, all with the decimals that the gauge gives."""
    card: BoreGauging | None = build.get("work.bore_gauging")
    if card is None or not card.cylinders:
        return None
    readings = [value for bore in card.cylinders for depth in bore.depths for value in (depth.across, depth.along)]
    decimals = max(len(f"{value:.12g}".partition(".")[2]) for value in readings)
    most = max(len(bore.depths) for bore in card.cylinders)
    names = card.depths if len(card.depths) == most else tuple(f"depth {index + 1}" for index in range(most))
    head = ("Cylinder", *(f"{name}, {axis}" for name in names for axis in ("across", "along")))
    rows = []
    for bore in card.cylinders:
        values = [f"{value:.{decimals}f}" for depth in bore.depths for value in (depth.across, depth.along)]
        values += [""] * (2 * most - len(values))
        rows.append((Cell(str(bore.cylinder)), *(Cell(value, number=True) for value in values)))
    return Table(f"Every bore, across and along the crank, in {card.unit}", head, tuple(rows))


def drop_empty_columns(table: Table) -> Table:
    """The table without the columns that say nothing."""
    kept = [
        i for i in range(len(table.head)) if i == 0 or any(row[i].text or row[i].alternate_unit for row in table.rows)
    ]
    return Table(
        table.title, tuple(table.head[i] for i in kept), tuple(tuple(row[i] for i in kept) for row in table.rows)
    )
