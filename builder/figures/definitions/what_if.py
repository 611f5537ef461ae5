"""What the compression ratio would be with another part: as listed, or as the wrong part came in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from builder.figures.core import display_units as units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import CYLINDER, GEOMETRY, Definitions, unchanged
from builder.figures.core.solver import Solver, solver_without_uncertainty
from builder.figures.core.types import LISTED, Figure, InputValue
from builder.record.quantities.readings import Reading

define = Definitions(CYLINDER)

PARTS: dict[str, float] = {
    "compression_height": -1.0,
    "deck_height": 1.0,
    "rod_length": -1.0,
    "stroke": -0.5,
    "gasket_thickness": 0.0,
    "gasket_bore": 0.0,
    "chamber": 0.0,
    "dish": 0.0,
    "dome": 0.0,
}
"""The inputs of the compression ratio that come with a part, and how far each moves the crown down per meter."""

_INTERMEDIATE = ("swept_volume", "deck_clearance", "crown_volume", "top_land_volume")
"""The figures between parts and compression ratio."""
_INPUTS = ("bore", "deck_clearance_measured", "top_land_height", "top_land_clearance", *PARTS)


@dataclass(frozen=True)
class Scenario:
    """What another part would lead to: compression ratio, and the crown below the deck [m], both as means."""

    ratio: Figure
    deck_clearance: Figure | None


class WhatIf:
    """The compression ratio of one build with other parts, without uncertainty; see `Context.cached`."""

    def __init__(self, context: Context) -> None:
        """Read what the build has."""
        self.context = context
        self._solver = context.cached(solver_without_uncertainty)
        self._inputs = {name: self._solver.input(name) for name in _INPUTS}
        self._roots = {slug: self._solver.root_inputs(slug) for slug in _INTERMEDIATE}
        self._scenarios: dict[tuple[str, float], Scenario | None] = {}

    @cached_property
    def as_built(self) -> Scenario | None:
        """Return the engine as it was built."""
        return _scenario(self._solver)

    def with_part(self, name: str, value: float) -> Scenario | None:
        """Return the engine with a part's value (SI, at every cylinder) in place of the one built in."""
        built = self._inputs.get(name)
        if built is None:
            return None
        if (name, value) not in self._scenarios:
            part = replace(built, values=value, texts=("",), axis=None, contributions={})
            self._scenarios[name, value] = self._solve({name: part, **self._gauge_with(built, value, PARTS[name])})
        return self._scenarios[name, value]

    @cached_property
    def from_parts(self) -> Scenario | None:
        """Return the engine with the deck clearance that the parts add up to, whatever the dial indicator read."""
        return self._solve({"deck_clearance_measured": None})

    def _gauge_with(self, built: InputValue, value: float, effect: float) -> dict[str, InputValue | None]:
        """Return what the dial indicator would have read with another part."""
        gauge = self._inputs["deck_clearance_measured"]
        if gauge is None or effect == 0:
            return {}
        before = built.values if built.axis == gauge.axis else float(np.mean(built.values))
        moved = np.asarray(gauge.values) + effect * (value - np.asarray(before))
        return {"deck_clearance_measured": replace(gauge, values=moved if gauge.axis else float(moved))}

    def _solve(self, overrides: Mapping[str, InputValue | None]) -> Scenario | None:
        # What does not depend on the part that changes stays the same.
        unchanged = {
            slug: self._solver.input(slug) for slug, roots in self._roots.items() if not roots & set(overrides)
        }
        return _scenario(Solver(self.context, {**self._inputs, **unchanged, **overrides}, with_uncertainty=False))


def _scenario(solver: Solver) -> Scenario | None:
    ratio, clearance = solver.figure("compression_ratio"), solver.figure("deck_clearance")
    if not isinstance(ratio, Figure):
        return None
    return Scenario(ratio, clearance if isinstance(clearance, Figure) else None)


def _listed_and_measured(context: Context) -> dict[str, Reading]:
    """Return the parts that bear on compression and were both listed and measured."""
    readings = {name: context.build.get(context.registry.inputs[name].path) for name in PARTS}
    return {
        name: reading
        for name, reading in readings.items()
        if isinstance(reading, Reading) and reading.listed is not None and reading.is_measured
    }


@define.computed_input(
    "ratio_with_listed", "one part", "", units.COMPRESSION,
    "bottom_end.pistons.compression_height (listed and measured)", "part",
)  # fmt: skip
def _ratio_with_listed(context: Context, item: Input) -> InputValue | None:
    what_if = context.cached(WhatIf)
    if what_if.as_built is None:
        return None
    rows = []
    for name, reading in _listed_and_measured(context).items():
        assert reading.listed is not None  # _listed_and_measured returns no other
        scenario = what_if.with_part(name, reading.listed.si)
        if scenario is not None:
            difference = abs(scenario.ratio.value - what_if.as_built.ratio.value)
            label = context.registry.inputs[name].label
            rows.append((difference, label, scenario.ratio.value, written_text(reading.listed)))
    if not rows:
        return None
    rows.sort(key=lambda row: -row[0])  # the part that matters most first
    _, labels, ratios, texts = zip(*rows, strict=True)
    where = context.build.where("bottom_end.pistons.compression_height")
    return item.value(np.array(ratios), texts, LISTED, labels=labels, where=where)


define.figure(
    "compression_if",
    "Compression ratio with catalog parts",
    units.COMPRESSION,
    source=GEOMETRY,
    axis="part",
    headline="first",
    means="Compression ratio if a part matched its catalog value.",
    formula=r"\frac{V_s + V_k'}{V_k'}",
    symbols=(("V_s", "swept volume", "m^3"), ("V_k'", "clearance volume with that one part as listed", "m³")),
    working="{ratio_with_listed} as listed, all else as measured",
    validity="one part at a time; a deck clearance by dial indicator is moved by as much as the part would move it",
    inputs=("ratio_with_listed",),
)(unchanged)
