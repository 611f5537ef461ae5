"""What the compression ratio would be with another part: as listed, or as one came out of the wrong box."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from builder.engine.values import Value
from builder.figures.core import display_units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import INPUTS, Context, computed_input
from builder.figures.core.registry import CYLINDER, GEOMETRY, figure
from builder.figures.core.solver import Solver
from builder.figures.core.types import LISTED, Axis, Figure, InputValue
from builder.figures.definitions import cylinder  # noqa: F401
from builder.record.quantities.readings import Reading

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
"""The inputs that a part brings to the compression ratio, and how each moves the crown at the deck."""

_BETWEEN = ("swept_volume", "deck_clearance", "crown_volume", "top_land_volume")
"""The figures between the parts and the ratio."""
_ALL = ("bore", "deck_clearance_measured", "top_land_height", "top_land_clearance", *PARTS)


@dataclass(frozen=True)
class Scenario:
    """What would come of a part: compression ratio, and the crown below the deck [m], both as means."""

    ratio: Figure
    deck_clearance: Figure | None


class WhatIf:
    """The compression ratio of one build under other parts; how sure any of it is, is left out."""

    def __init__(self, source: Context) -> None:
        """Read what the build has, once."""
        self.source = source
        self._known = {name: source.solver_without_uncertainty.known(name) for name in _ALL}
        self._made = {slug: source.solver_without_uncertainty.root_inputs(slug) for slug in _BETWEEN}
        self._seen: dict[tuple[str, float], Scenario | None] = {}

    @cached_property
    def now(self) -> Scenario | None:
        """As the engine was built."""
        return _outlook_of(self.source.solver_without_uncertainty)

    def with_part(self, name: str, value: float) -> Scenario | None:
        """With a part's value (SI, at every cylinder) instead of the one that was built in."""
        built = self._known.get(name)
        if built is None:
            return None
        if (name, value) not in self._seen:
            other = replace(built, values=value, texts=("",), axis=None, contributions={})
            self._seen[name, value] = self._outlook({name: other, **self._crown_moved(built, value, PARTS[name])})
        return self._seen[name, value]

    @cached_property
    def from_parts(self) -> Scenario | None:
        """With the deck clearance as the parts stack up, whatever the dial gauge said."""
        return self._outlook({"deck_clearance_measured": None})

    def _crown_moved(self, built: InputValue, value: float, effect: float) -> dict[str, InputValue | None]:
        """The dial gauge read the parts that are in; with another one it would read something else."""
        gauge = self._known["deck_clearance_measured"]
        if gauge is None or effect == 0:
            return {}
        was = built.values if built.axis == gauge.axis else float(np.mean(built.values))
        moved = np.asarray(gauge.values) + effect * (value - np.asarray(was))
        return {"deck_clearance_measured": replace(gauge, values=moved if gauge.axis else float(moved))}

    def _outlook(self, instead: Mapping[str, InputValue | None]) -> Scenario | None:
        # What does not rest on the part that changed is as it was.
        same = {
            slug: self.source.solver_without_uncertainty.known(slug)
            for slug, roots in self._made.items()
            if not roots & set(instead)
        }
        return _outlook_of(Solver(self.source, {**self._known, **same, **instead}, with_uncertainty=False))


def _outlook_of(solver: Solver) -> Scenario | None:
    ratio, clearance = solver.figure("compression_ratio"), solver.figure("deck_clearance")
    if not isinstance(ratio, Figure):
        return None
    return Scenario(ratio, clearance if isinstance(clearance, Figure) else None)


def listed_and_measured(source: Context) -> dict[str, Reading]:
    """The parts that bear on compression and were both listed and measured."""
    readings = {name: source.build.get(INPUTS[name].path) for name in PARTS}
    return {
        name: reading
        for name, reading in readings.items()
        if isinstance(reading, Reading) and reading.listed is not None and reading.is_measured
    }


@computed_input(
    "ratio_with_listed", "one part", "", display_units.COMPRESSION,
    "bottom_end.pistons.compression_height (listed and measured)", "part",
)  # fmt: skip
def _ratio_with_listed(source: Context) -> InputValue | None:
    parts = listed_and_measured(source)
    if not parts:
        return None
    what_if, now = source.what_if, source.what_if.now
    if now is None:
        return None
    found = []
    for name, reading in parts.items():
        assert reading.listed is not None  # listed_and_measured keeps no other
        outlook = what_if.with_part(name, reading.listed.si)
        if outlook is not None:
            text = written_text(reading.listed)
            found.append((abs(outlook.ratio.value - now.ratio.value), INPUTS[name].label, outlook.ratio.value, text))
    if not found:
        return None
    found.sort(key=lambda each: -each[0])  # the part that matters most stands in front
    item = INPUTS["ratio_with_listed"]
    return InputValue(
        item.name,
        item.label,
        item.symbol,
        np.array([ratio for _, _, ratio, _ in found]),
        tuple(text for _, _, _, text in found),
        LISTED,
        Axis("part", tuple(label for _, label, _, _ in found)),
        where=source.build.where("bottom_end.pistons.compression_height"),
    )


@figure(
    "compression_if",
    "Compression as listed",
    display_units.COMPRESSION,
    section=CYLINDER,
    source=GEOMETRY,
    axis="part",
    headline="first",
    means="What the compression ratio would be if a part were as listed and not as it measured.",
    formula=r"\frac{V_s + V_k'}{V_k'}",
    symbols=(
        ("V_s", "swept volume", "m^3"),
        ("V_k'", "clearance volume with that one part as listed", "m³"),
    ),
    working="{ratio_with_listed} as listed, all else as measured",
    validity="one part at a time; a deck clearance by dial gauge is moved by as much as the part would move it",
)
def compression_if(ratio_with_listed: Value) -> Value:
    """Compression ratio with each part as listed."""
    return ratio_with_listed
