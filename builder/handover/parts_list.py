"""The parts in the engine, with the numbers to order them again by."""

from __future__ import annotations

from dataclasses import dataclass, replace

from builder.record.models.build import Build


@dataclass(frozen=True)
class PartLine:
    """One part or set of parts."""

    part: str
    maker: str
    number: str
    quantity: str
    source: str
    note: str = ""


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
    ("Induction", "top_end.induction", "number"),
    ("Injectors", "top_end.induction.injectors", "number"),
)
"""Where the record names a maker and a number besides the list of parts as received."""


def parts_of(build: Build) -> tuple[PartLine, ...]:
    """What went into the engine: the parts as received that stayed, then what only the record of the work names."""
    received = [part for part in (build.parts.parts if build.parts else ()) if part.verdict not in _REJECTED]
    lines = [
        PartLine(
            part.part[:1].upper() + part.part[1:],
            part.maker or "",
            part.number or "",
            str(part.quantity or ""),
            ", ".join(filter(None, (part.source, _verdict(part.verdict)))),
            part.done or "",
        )
        for part in received
    ]
    numbers = {line.number.casefold() for line in lines if line.number}
    for title, path, field in _RECORDED:
        maker, number = build.get(f"{path}.maker"), build.get(f"{path}.{field}")
        same = next((i for i, line in enumerate(lines) if not line.number and _same(title, line.part)), None)
        if number and same is not None:
            lines[same] = replace(lines[same], number=number, maker=lines[same].maker or maker or "")
            numbers.add(number.casefold())
        if (maker or number) and (number or "").casefold() not in numbers | {""}:
            lines.append(PartLine(title, maker or "", number or "", "", ""))
            numbers.add((number or "").casefold())
    return tuple(lines)


def _same(title: str, part: str) -> bool:
    """Whether a part as received is what the record of the work calls by this title, one or several of it."""
    return title.casefold().rstrip("s") == part.casefold().rstrip("s")


_REJECTED = ("returned", "scrapped")


def _verdict(verdict: str | None) -> str | None:
    return None if verdict in (None, "fits") else verdict
