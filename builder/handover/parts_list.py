"""The parts in the engine with their part numbers, by where they came from, and the parts that were rejected."""

from __future__ import annotations

from dataclasses import dataclass, replace

from builder.record.models.build import Build
from builder.record.models.parts import Part
from builder.record.wording import capitalize


@dataclass(frozen=True)
class PartLine:
    """One part or set of parts; ``condition`` is where it came from, the outcome on receipt, the serial number."""

    part: str
    maker: str
    number: str
    quantity: str
    condition: str
    note: str = ""


@dataclass(frozen=True)
class PartsGroup:
    """The parts in the engine that came from one place."""

    title: str
    parts: tuple[PartLine, ...]


_RECORDED = (
    ("Block", "bottom_end.block", "casting"),
    ("Crankshaft", "bottom_end.crankshaft", "number"),
    ("Connecting rods", "bottom_end.rods", "number"),
    ("Pistons", "bottom_end.pistons", "number"),
    ("Rings", "bottom_end.rings", "number"),
    ("Main bearings", "bottom_end.bearings", "main_number"),
    ("Rod bearings", "bottom_end.bearings", "rod_number"),
    ("Cylinder heads", "top_end.heads", "casting"),
    ("Head gasket", "top_end.gasket", "number"),
    ("Intake valves", "top_end.heads.intake_valve", "number"),
    ("Exhaust valves", "top_end.heads.exhaust_valve", "number"),
    ("Valve springs", "top_end.springs", "number"),
    ("Rockers", "top_end.rockers", "number"),
    ("Camshaft", "cam.card", "number"),
    ("Lifters", "cam.lifters", "number"),
    ("Timing set", "cam.drive", "number"),
    ("Oil pump", "bottom_end.oil_system", "number"),
    ("Water pump", "bottom_end.cooling_system", "number"),
    ("Induction", "top_end.induction", "number"),
    ("Intake manifold", "top_end.induction.manifold", "number"),
    ("Injectors", "top_end.induction.injectors", "number"),
    ("Ignition", "top_end.ignition", "number"),
    ("Spark plugs", "top_end.plugs", "number"),
    ("Exhaust", "top_end.exhaust", "number"),
)
"""Fields outside the list of received parts that name a maker and a number."""
_REJECTED = ("returned", "scrapped")
_SUPPLIED, _REUSED, _OTHER = "Supplied new or reconditioned", "Reused and customer's own", "Source not recorded"
_GROUP_OF_SOURCE = {
    "new": _SUPPLIED, "reconditioned": _SUPPLIED, "shop stock": _SUPPLIED, "used": _REUSED, "customer's own": _REUSED,
    "swap meet": _REUSED, "mixed lot": _REUSED,
}  # fmt: skip


def installed_parts(build: Build) -> tuple[PartsGroup, ...]:
    """Return the parts in the engine by source: those received and not rejected, and those only other files name."""
    received = [part for part in (build.parts.parts if build.parts else ()) if part.verdict not in _REJECTED]
    lines = [_line(part, capitalize(part.part), _condition(part)) for part in received]
    groups = [_GROUP_OF_SOURCE.get(part.source or "", _OTHER) for part in received]
    numbers = {line.number.casefold() for line in lines if line.number}
    for title, path, field in _RECORDED:
        maker, number = build.get(f"{path}.maker"), build.get(f"{path}.{field}")
        index = next((i for i, line in enumerate(lines) if not line.number and _is_same(title, line.part)), None)
        if number and index is not None:
            lines[index] = replace(lines[index], number=number, maker=lines[index].maker or maker or "")
            numbers.add(number.casefold())
        if (maker or number) and (number or "").casefold() not in numbers | {""}:
            lines.append(PartLine(title, maker or "", number or "", "", ""))
            groups.append(_OTHER)
            numbers.add((number or "").casefold())
    return tuple(
        PartsGroup(title, parts)
        for title in (_SUPPLIED, _REUSED, _OTHER)
        if (parts := tuple(line for line, group in zip(lines, groups, strict=True) if group == title))
    )


def rejected_parts(build: Build) -> tuple[PartLine, ...]:
    """Return the parts received that were returned or scrapped."""
    parts = build.parts.parts if build.parts else ()
    return tuple(_line(part, capitalize(part.part), part.verdict or "") for part in parts if part.verdict in _REJECTED)


def _line(part: Part, title: str, condition: str) -> PartLine:
    quantity = str(part.quantity or "")
    return PartLine(title, part.maker or "", part.number or "", quantity, condition, part.done or "")


def _is_same(title: str, part: str) -> bool:
    """Whether a received part has this title, in the singular or the plural."""
    return title.casefold().rstrip("s") == part.casefold().rstrip("s")


def _condition(part: Part) -> str:
    """Return source, outcome and serial number; the number is there only where the shop lets the customer see it."""
    verdict = None if part.verdict == "fits" else "not inspected" if part.verdict == "not checked" else part.verdict
    serial = f"serial {part.serial}" if part.serial else None
    return ", ".join(filter(None, (part.source, verdict, serial)))
