"""Fasteners as a page shows them: every joint as it was tightened, with torque in both systems of units."""

from __future__ import annotations

from builder.figures.core.display_units import (
    join_unit,
    number_in_other_system,
    system_of_unit,
    written_number,
    written_text,
)
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.definitions.fasteners import joint_labels
from builder.publish.pages.build.record_tables import Cell, Table, cell, remarks
from builder.publish.pages.formatting import group_thousands, sentence
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import Quantity

_Forces = dict[str, tuple[str, str | None]]
"""The clamping force of a joint by its label: as displayed, and in the other system."""


def fasteners_table(build: Build, sheet: FigureSheet) -> Table | None:
    """Return every joint as it was tightened, with its torque in both systems; None without any."""
    joints: tuple[Fastener, ...] = build.get("assembly.fasteners") or ()
    if not joints:
        return None
    preload = sheet.get("fastener_preload")
    by_torque, by_stretch = _forces(preload, joints), _forces(sheet.get("stretch_preload"), joints)
    spread = f" (±{preload.uncertainty / preload.value:.0%})" if preload and preload.uncertainty else ""
    head = ("Joint", "Bolts", "N m", "lbf ft", "Angle / stretch", "Steps", "On threads", f"Est. clamp load{spread}",
            "Done by", "Spec source")  # fmt: skip
    labels = joint_labels(joints)
    rows = (_joint(joint, label, by_torque, by_stretch) for joint, label in zip(joints, labels, strict=True))
    return Table("Fasteners", head, tuple(rows)).without_empty_columns()


def _forces(figure: Figure | None, joints: tuple[Fastener, ...]) -> _Forces:
    if figure is None:
        return {}
    if not figure.positions and len(joints) == 1:
        return {joint_labels(joints)[0]: (figure.display, figure.alternate_text)}
    return {position.label: (position.display, position.alternate_text) for position in figure.positions}


def _joint(joint: Fastener, label: str, by_torque: _Forces, by_stretch: _Forces) -> tuple[Cell, ...]:
    bolts = " × ".join(filter(None, (str(joint.count) if joint.count else None, joint.size)))
    metric, inch = torque_in_both_systems(
        joint.torque.preferred[0] if joint.torque and joint.torque.preferred else None
    )
    force, alternate_force = by_torque.get(label, ("", None))
    names = (joint.by, f"re-checked by {joint.rechecked}" if joint.rechecked else None)
    torque_remarks = remarks(joint.torque, False) if joint.torque is not None else ()
    return (
        Cell(sentence(label, ""), "; ".join(filter(None, (*torque_remarks, joint.note))) or None),
        Cell(bolts, joint.grade),
        Cell(metric, number=True),
        Cell(inch, number=True),
        Cell(", ".join(_after_torque(joint, by_stretch.get(label)))),
        Cell(", ".join(written_text(step).replace(" ", "\N{NO-BREAK SPACE}") for step in joint.steps)),
        Cell(joint.on_threads, _lubrication_text(joint)),
        Cell(group_thousands(force), group_thousands(alternate_force or "") or None, number=bool(force)),
        Cell("; ".join(filter(None, names))),
        Cell(joint.according_to or ""),
    )


def _after_torque(joint: Fastener, force: tuple[str, str | None] | None) -> list[str]:
    """Return the steps after the torque: an angle, and the stretch with the clamping force computed from it."""
    steps = []
    if joint.angle is not None:
        steps.append(written_text(joint.angle))
    if joint.stretch is not None:
        texts = [f"stretch {cell(joint.stretch, False).text}"]
        if force:
            texts.append(f"clamp load by stretch {group_thousands(force[0])}")
        steps.append("; ".join(texts))
    return steps


def _lubrication_text(joint: Fastener) -> str | None:
    if joint.nut_factor:
        return f"K {joint.nut_factor:g}"
    return f"friction {joint.friction:g}" if joint.friction else None


def stretch_tables(build: Build) -> tuple[Table, ...]:
    """Return a table of the stretch of every bolt for each joint where more than one was measured."""
    joints: tuple[Fastener, ...] = build.get("assembly.fasteners") or ()
    tables = []
    for joint, label in zip(joints, joint_labels(joints), strict=True):
        bolts = joint.stretch.measured if joint.stretch is not None else ()
        if len(bolts) > 1:
            head = ("Bolt", *(str(number) for number in range(1, len(bolts) + 1)))
            row = (Cell("Stretch"), *(Cell(written_text(bolt), number=True) for bolt in bolts))
            tables.append(Table(f"{sentence(label, '')}, stretch", head, (row,)))
    return tuple(tables)


def torque_in_both_systems(quantity: Quantity | None) -> tuple[str, str]:
    """Return a torque in N m and in lbf ft without the units, its own unit as written; empty texts for None."""
    if quantity is None:
        return "", ""
    written = (written_number(quantity), printed_unit(quantity.unit))
    both = (written, number_in_other_system(quantity) or ("", ""))
    # A unit that is not the column's, such as lbf in, is shown with its number.
    metric, inch = (
        number if unit in ("N m", "lbf ft") else join_unit(number, unit)
        for number, unit in (both if system_of_unit(quantity) == "metric" else reversed(both))
    )
    return metric, inch
