"""Fasteners as they were tightened, joint by joint."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import convert_to_other_system, written_mean, written_text
from builder.publish.pages.build.record_tables import allowed_text
from builder.record.models.assembly import Fastener
from builder.record.models.build import Build
from builder.record.wording import capitalize


@dataclass(frozen=True)
class Joint:
    """One joint: its position in the record from 1, its bolts, how it was tightened, and further rows."""

    index: int
    title: str
    bolts: str
    tightening: str
    alternate_torque: str
    """The final torque in the other system of units; empty without a torque."""
    lubricant: str
    """What is on its threads: lubricant, threadlocker, sealant."""
    rows: tuple[tuple[str, str], ...]


def joints(build: Build) -> tuple[Joint, ...]:
    """Return every joint, in the order of the record."""
    fasteners = build.assembly.fasteners if build.assembly else ()
    return tuple(_joint(index + 1, fastener) for index, fastener in enumerate(fasteners))


def _joint(index: int, fastener: Fastener) -> Joint:
    bolts = " ".join(filter(None, (f"{fastener.count} ×" if fastener.count else None, fastener.size)))
    stretch = None
    if fastener.stretch is not None and fastener.stretch.preferred:
        allowed = allowed_text(fastener.stretch)
        stretch = f"mean {written_mean(fastener.stretch)}" + (f", allowed {allowed}" if allowed else "")
    rows = (
        ("Grade", fastener.grade),
        ("Lubricant", fastener.lubricant),
        ("Threadlocker", fastener.threadlocker),
        ("Sealant", fastener.sealant),
        ("Stretch", stretch),
        ("Spec source", fastener.according_to),
        ("Tightened by", fastener.by),
        ("Rechecked", fastener.rechecked),
        ("Note", fastener.note),
    )
    return Joint(
        index,
        capitalize(fastener.joint),
        bolts,
        _tightening(fastener) or (f"stretch {stretch}" if stretch else ""),
        _alternate_torque(fastener),
        fastener.on_threads,
        tuple((title, text) for title, text in rows if text),
    )


def _alternate_torque(fastener: Fastener) -> str:
    torques = (*(fastener.torque.preferred if fastener.torque else ()), *fastener.steps[-1:])
    return convert_to_other_system(torques[0]) or "" if torques else ""


def _tightening(fastener: Fastener) -> str:
    """Return `30 → 55 → 75 N m, then 60°`."""
    steps = list(fastener.steps)
    text = ""
    if steps:
        one_unit = all(step.unit == steps[-1].unit for step in steps)
        text = " → ".join(step.number if one_unit and step is not steps[-1] else written_text(step) for step in steps)
    torque = fastener.torque.preferred[0] if fastener.torque is not None and fastener.torque.preferred else None
    if torque is not None and (not steps or abs(steps[-1].si - torque.si) > 1e-9):
        text = f"{text} → {written_text(torque)}" if text else written_text(torque)
    if fastener.angle is not None:
        text = f"{text}, then {written_text(fastener.angle)}" if text else f"by angle, {written_text(fastener.angle)}"
    return text
