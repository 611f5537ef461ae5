"""Cross-checks of induction, exhaust, ignition, oil system and surface finish."""

from __future__ import annotations

from collections.abc import Iterator

from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, Result, Statement, compare
from builder.figures.review.cross_checks.record_values import RecordValues

define = CrossChecks()

_INDUCTION = "top_end.induction"
_CARBURETOR = f"{_INDUCTION}.carburetor"
_EXHAUST = "top_end.exhaust"
_FINISH = "work.surface_finish"


@define.check("rated_flow", "Rated flow of the carburetors")
def _rated_flow(record: RecordValues) -> Comparison:
    """Return the flow of one carburetor times their quantity against the total."""
    one = record.value(f"{_CARBURETOR}.rated_flow") * float(record.value(f"{_CARBURETOR}.count").values[0])
    return compare(("all carburetors", one), "equals", ("total", record.value(f"{_INDUCTION}.rated_flow")), share=0.02)


@define.check("venturi", "Venturi and throttle bore")
def _venturi(record: RecordValues) -> Comparison:
    """Return the venturi against the bore behind it, which is never the smaller one."""
    venturi, bore = record.value(f"{_CARBURETOR}.venturi"), record.value(f"{_CARBURETOR}.bore")
    return compare(("venturi", venturi), "at most", ("bore at the throttle", bore))


@define.check("individual_runners", "Individual runners and carburetors")
def _individual_runners(record: RecordValues) -> Iterator[Statement]:
    """Yield a manifold of one runner and barrel for each cylinder with fewer barrels than cylinders."""
    carburetor = record.build.get(_CARBURETOR)
    kind = record.build.get(f"{_INDUCTION}.manifold.kind")
    if kind != "individual runners" or carburetor is None or carburetor.count is None or carburetor.barrels is None:
        return
    barrels, cylinders = carburetor.count * carburetor.barrels, record.build.cylinders
    if barrels < cylinders:
        yield Statement(
            sentence=f"individual runners need a barrel for each cylinder: {barrels} barrels, {cylinders} cylinders",
            values=(
                record.recorded(f"{_INDUCTION}.manifold.kind", str(kind)),
                record.recorded(f"{_CARBURETOR}.count", str(carburetor.count), "carburetors"),
                record.recorded(f"{_CARBURETOR}.barrels", str(carburetor.barrels)),
                record.recorded("build.engine.cylinders", str(cylinders)),
            ),
        )


@define.check("collector", "Collector and primary pipes")
def _collector(record: RecordValues) -> Comparison:
    """Return the collector against the pipes that it collects, which are never larger."""
    collector, primary = record.value(f"{_EXHAUST}.collector_diameter"), record.value(f"{_EXHAUST}.primary_diameter")
    return compare(("collector", collector), "at least", ("primary pipe", primary))


@define.check("plug_gap", "Plug gap")
def _plug_gap(record: RecordValues) -> Comparison:
    """Return the gap at delivery against that of the plugs."""
    delivered, fitted = record.value("delivery.settings.plug_gap"), record.value("top_end.plugs.gap")
    return compare(("as delivered", delivered), "equals", ("as fitted", fitted), within="0.03 mm")


@define.check("oil_fill", "Oil fill and pan")
def _oil_fill(record: RecordValues) -> Iterator[Result]:
    """Yield the engine oil at delivery against what the pan alone holds: filter and cooler only add to it."""
    capacity = record.value("bottom_end.oil_system.pan_capacity")
    for index, fluid in enumerate(record.build.get("delivery.fluids") or ()):
        if fluid.what.casefold() not in ("engine oil", "oil") or fluid.amount is None:
            continue
        path = f"delivery.fluids.{index}.amount"
        filled = record.reading(fluid.amount, path, "engine oil")
        if filled is not None and fluid.amount.dimension == "volume":
            yield compare(("engine oil filled", filled), "at least", ("pan to the full mark", capacity), share=0.03)


@define.check("surface_finish", "Surface finish")
def _surface_finish(record: RecordValues) -> Iterator[Comparison]:
    """Yield Rz against twice Ra: the mean height from peak to valley of any profile is at least that."""
    for name in ("bores", "decks", "heads"):
        mean, height = record.get(f"{_FINISH}.{name}.ra"), record.get(f"{_FINISH}.{name}.rz")
        if mean is not None and height is not None:
            yield compare((f"Rz of the {name}", height), "at least", ("2 Ra", mean * 2.0))
