"""Cross-checks of a two-stroke's ports: heights against degree wheel, order of opening, and size in the bore."""

from __future__ import annotations

from collections.abc import Iterator

from builder.engine import ports
from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, compare
from builder.figures.review.cross_checks.operand import combine, exactly
from builder.figures.review.cross_checks.record_values import RecordValues

define = CrossChecks()

_KINDS = ("exhaust", "transfer", "boost")
_WHEEL = "1.5 deg"
"""What the opening by degree wheel differs by from the one by the height of the roof: common practice, no source."""
_WIDEST = {"exhaust": 0.75, "transfer": 0.7, "boost": 0.7}
"""Width of one port over the bore that a ring survives, roughly: common practice, no source."""


@define.check("port_timing", "Port height and degree wheel")
def _port_timing(record: RecordValues) -> Iterator[Comparison]:
    deck, stroke, rod = (
        record.value(f"bottom_end.{path}").mean() for path in ("deck_clearance", "crankshaft.stroke", "rods.length")
    )
    for kind in _KINDS:
        roof, wheel = record.get(f"ports.{kind}.roof"), record.get(f"ports.{kind}.opens")
        if roof is None:
            continue
        opens = combine(ports.port_opens, roof, deck, stroke, rod)
        if wheel is not None:
            by_roof = opens.shown_by(wheel.show)
            yield compare((f"{kind} by degree wheel", wheel), "equals", ("by its roof", by_roof), within=_WHEEL)
        elif kind == "exhaust":
            shown = opens.shown_by(lambda angle: f"{angle:.1f}°")
            yield compare(("exhaust opens", shown), "at least", ("any two-stroke", exactly(68.0, shown)))
            yield compare(("exhaust opens", shown), "at most", ("any two-stroke", exactly(125.0, shown)))


@define.check("port_order", "Order of the ports")
def _port_order(record: RecordValues) -> Iterator[Comparison]:
    """Yield an exhaust port that opens after the transfers, and transfers far from the boost ports."""
    exhaust, transfer = record.value("ports.exhaust.roof"), record.value("ports.transfer.roof")
    yield compare(("exhaust roof", exhaust), "at most", ("transfer roof", transfer))
    boost, stroke = record.get("ports.boost.roof"), record.value("bottom_end.crankshaft.stroke").mean()
    if boost is not None:
        yield compare(("boost roof", boost), "equals", ("transfer roof", transfer), within="4 mm")
    for kind in _KINDS:
        roof, floor = record.get(f"ports.{kind}.roof"), record.get(f"ports.{kind}.floor")
        if roof is not None:
            yield compare((f"{kind} roof", roof), "at most", ("stroke", stroke.shown_by(roof.show)))
        if roof is not None and floor is not None:
            yield compare((f"{kind} roof", roof), "at most", (f"{kind} floor", floor))


@define.check("port_widths", "Ports and bore")
def _port_widths(record: RecordValues) -> Iterator[Comparison]:
    bore = record.value("bottom_end.block.bores").mean()
    for kind, share in _WIDEST.items():
        width = record.get(f"ports.{kind}.width")
        if width is not None:
            limit = (bore * share).shown_by(width.show)
            yield compare((f"{kind} port width", width), "at most", (f"{100 * share:g} % of the bore", limit))
            least = (bore * 0.1).shown_by(width.show)
            yield compare((f"{kind} port width", width), "at least", ("10 % of the bore", least))


@define.check("crankcase", "Crankcase volume")
def _crankcase(record: RecordValues) -> Iterator[Comparison]:
    """Yield a crankcase whose compression no two-stroke has: 1.15 to 2, common practice, no source."""
    ratio = record.figure("crankcase_compression_ratio")
    yield compare(("crankcase compression", ratio), "at least", ("any two-stroke", exactly(1.15, ratio)))
    yield compare(("crankcase compression", ratio), "at most", ("any two-stroke", exactly(2.0, ratio)))
