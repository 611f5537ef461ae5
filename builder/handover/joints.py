"""Fasteners as they were tightened, one block for each joint."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import written_mean, written_text
from builder.publish.pages.build.record_tables import allowed_text
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build


@dataclass(frozen=True)
class Joint:
    """One joint: what it is, how it was tightened, and what goes with that; its place in the record, from 1."""

    index: int
    title: str
    bolts: str
    tightened: str
    rows: tuple[tuple[str, str], ...]


def joints(build: Build) -> tuple[Joint, ...]:
    """Every joint, in the order of the record."""
    fasteners = build.assembly.fasteners if build.assembly else ()
    return tuple(_joint(index + 1, fastener) for index, fastener in enumerate(fasteners))


def _joint(index: int, of: Fastener) -> Joint:
    bolts = " ".join(filter(None, (f"{of.count} ×" if of.count else None, of.size)))
    stretch = None
    if of.stretch is not None and of.stretch.preferred:
        allowed = allowed_text(of.stretch)
        stretch = f"mean {written_mean(of.stretch)}" + (f", allowed {allowed}" if allowed else "")
    rows = (
        ("Grade", of.grade),
        ("Lubricant", of.lubricant),
        ("Stretch", stretch),
        ("According to", of.according_to),
        ("Tightened by", of.by),
        ("Rechecked", of.rechecked),
        ("Note", of.note),
    )
    return Joint(
        index,
        of.joint[:1].upper() + of.joint[1:],
        bolts,
        _tightened(of),
        tuple((title, text) for title, text in rows if text),
    )


def _tightened(of: Fastener) -> str:
    """`30 → 55 → 75 N m, then 60°`."""
    steps = list(of.steps)
    text = ""
    if steps:
        same = all(step.unit == steps[-1].unit for step in steps)
        shown = [step.number if same and step is not steps[-1] else written_text(step) for step in steps]
        text = " → ".join(shown)
    torque = of.torque.preferred[0] if of.torque is not None and of.torque.preferred else None
    if torque is not None and (not steps or abs(steps[-1].si - torque.si) > 1e-9):
        text = f"{text} → {written_text(torque)}" if text else written_text(torque)
    if of.angle is not None:
        text = f"{text}, then {written_text(of.angle)}" if text else f"by angle, {written_text(of.angle)}"
    return text
