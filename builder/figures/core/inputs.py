"""The inputs of figures: what each is called, where the record holds it, and how well it is known."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from builder.engine import uncertainty
from builder.engine.values import Value
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System, system_of, written_mean, written_text
from builder.figures.core.types import GIVEN, LISTED, MEASURED, Axis, InputValue
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import NUMBER, Quantity

if TYPE_CHECKING:
    from builder.figures.core.solver import Solver
    from builder.figures.definitions.what_if import WhatIf
    from builder.figures.dyno.session import DynoSession


@dataclass(frozen=True)
class Context:
    """What figures are made from: one build, the shop's habits, and what the dyno session came to."""

    build: Build
    shop: Shop

    @cached_property
    def system(self) -> System:
        """The system the build's figures are shown in first."""
        return system_of(self.build) if self.shop.units == "both" else self.shop.units

    @cached_property
    def session(self) -> DynoSession | None:
        """The dyno session, corrected and judged; None where no pull was recorded."""
        from builder.figures.dyno.session import analyse_session

        return analyse_session(self.build, self.shop)

    @cached_property
    def _known(self) -> dict[str, InputValue | None]:
        return {}

    def known(self, name: str) -> InputValue | None:
        """An input as the record has it, looked up once. Raises ValueError for one that cannot be."""
        if name not in self._known:
            self._known[name] = read(INPUTS[name], self)
        return self._known[name]

    @cached_property
    def solver_without_uncertainty(self) -> Solver:
        """Figures without their uncertainties, for inputs that rest on a figure and for what-if questions."""
        from builder.figures.core.solver import Solver

        return Solver(self, with_uncertainty=False)

    @cached_property
    def what_if(self) -> WhatIf:
        """The same engine with other parts."""
        from builder.figures.definitions.what_if import WhatIf

        return WhatIf(self)


Get = Callable[[Context], InputValue | None]


@dataclass(frozen=True)
class Input:
    """One thing a figure may take from the record."""

    name: str
    label: str
    symbol: str
    shown: DisplayUnit
    path: str
    axis: str | None = None
    basis: str = MEASURED
    """How well a single value (not a listed/measured reading) is known."""
    get: Get | None = None
    hint: str = ""
    """What to write to have it, where more than its own path would do."""

    @property
    def wanted(self) -> str:
        """What to write, and in which file, to have it."""
        if self.hint:
            return self.hint
        document, _, rest = self.path.partition(".")
        return f"{document}.yaml: {rest}"


INPUTS: dict[str, Input] = {}


def register_inputs(*inputs: Input) -> None:
    """Add inputs to the table; names are unique."""
    for item in inputs:
        if item.name in INPUTS:
            raise RuntimeError(f"two inputs are called {item.name}")
        INPUTS[item.name] = item


def computed_input(
    name: str, label: str, symbol: str, shown: DisplayUnit, path: str, axis: str | None = None, hint: str = ""
) -> Callable[[Get], Get]:
    """Declare an input that takes more than one look-up; ``path`` says what the record should hold."""

    def register(get: Get) -> Get:
        register_inputs(Input(name, label, symbol, shown, path, axis, get=get, hint=hint))
        return get

    return register


def read(item: Input, source: Context) -> InputValue | None:
    """The input as this build has it, or None."""
    if item.get is not None:
        return item.get(source)
    value = source.build.get(item.path)
    if value is None:
        return None
    known = known_of(item, value)
    return replace(known, where=source.build.where(item.path)) if known else None


def known_of(item: Input, value: Reading | Quantity | float | str) -> InputValue | None:
    """A reading, a quantity or a plain number as an input."""
    if isinstance(value, Reading):
        return _of_reading(item, value)
    if isinstance(value, Quantity):
        # A value off a maker's card is what the maker meant, not a reading rounded to its last digit.
        nominal = item.basis == LISTED
        step = uncertainty.root(item.name, uncertainty.from_resolution(value.step))
        return InputValue(
            item.name, item.label, item.symbol, value.si, (written_text(value),), item.basis,
            contributions={} if nominal else step,
        )  # fmt: skip
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return InputValue(item.name, item.label, item.symbol, float(value), (f"{value:g}",), GIVEN)
    return None


def _of_reading(item: Input, reading: Reading) -> InputValue | None:
    values = reading.values
    if not len(values):
        return None
    step = reading.resolution.si if reading.resolution else max(quantity.step for quantity in reading.preferred)
    if reading.dimension == NUMBER and not any("." in quantity.number for quantity in reading.preferred):
        step = 0.0  # a ratio written as a whole number is one: a follower of ratio 1 is not 0.5 to 1.5
    parts = [uncertainty.from_resolution(step)]
    repeated = not reading.measured and len(reading.repeats) > 1
    if repeated:
        parts.append(uncertainty.from_repeats(np.array([quantity.si for quantity in reading.repeats])))
    axis = Axis(item.axis, numbered(len(values))) if item.axis and len(values) > 1 else None
    count = len(reading.preferred)
    return InputValue(
        item.name,
        item.label if axis or count == 1 else f"{item.label}, mean of {count}",
        item.symbol,
        values if axis else float(values[0] if count == 1 else values.mean()),
        tuple(map(written_text, reading.preferred)) if axis else (written_mean(reading),),
        MEASURED if reading.is_measured else LISTED,
        axis,
        uncertainty.root(item.name, *parts),
        has_stated_resolution=reading.resolution is not None or repeated,
    )


def numbered(count: int) -> tuple[str, ...]:
    """Labels 1, 2, 3 ... for positions."""
    return tuple(str(index + 1) for index in range(count))


def computed(
    item: Input,
    value: Value,
    source: Context,
    *,
    basis: str,
    labels: tuple[str, ...] = (),
    contributions: Mapping[str, Value] | None = None,
    texts: tuple[str, ...] | None = None,
) -> InputValue:
    """A Known made by a computed input; its text follows from its units unless given."""
    values = np.atleast_1d(np.asarray(value, dtype=np.float64))
    written = texts or tuple(item.shown.text(float(v), source.system) for v in values)
    axis = Axis(item.axis, labels) if item.axis and labels else None
    return InputValue(
        item.name, item.label, item.symbol, value, written, basis, axis, contributions or {},
        where=source.build.where(item.path),
    )  # fmt: skip


register_inputs(
    # What it is
    Input("cylinders", "cylinders", "N", units.COUNT, "build.engine.cylinders", basis=GIVEN),
    Input("red_line", "red line", "n", units.SPEED, "build.engine.red_line", basis=GIVEN),
    Input("compression_wanted", "compression ratio asked for", "\\varepsilon", units.COMPRESSION,
          "build.engine.compression_wanted", basis=GIVEN),
    # Bottom end
    Input("bore", "bore", "B", units.LENGTH, "bottom_end.block.bores", "cylinder"),
    Input("standard_bore", "standard bore", "B_0", units.LENGTH, "bottom_end.block.standard_bore"),
    Input("stroke", "stroke", "S", units.LENGTH, "bottom_end.crankshaft.stroke"),
    Input("rod_length", "rod length", "L", units.LENGTH, "bottom_end.rods.length", "cylinder"),
    Input("deck_height", "deck height", "H", units.LENGTH, "bottom_end.block.deck_height"),
    Input(
        "compression_height", "compression height", "h", units.LENGTH,
        "bottom_end.pistons.compression_height", "cylinder",
    ),
    Input(
        "deck_clearance_measured", "deck clearance by dial gauge", "c", units.LENGTH,
        "bottom_end.deck_clearance", "cylinder",
    ),
    Input("dish", "dish and valve reliefs", "V_{dish}", units.VOLUME, "bottom_end.pistons.dish", "cylinder"),
    Input("dome", "dome", "V_{dome}", units.VOLUME, "bottom_end.pistons.dome", "cylinder"),
    Input("pin_offset", "pin offset", "e", units.LENGTH, "bottom_end.pistons.pin_offset"),
    Input("top_land_height", "top land height", "h_t", units.LENGTH, "bottom_end.pistons.top_land.height"),
    Input(
        "top_land_clearance", "top land clearance, on the diameter", "c_t", units.LENGTH,
        "bottom_end.pistons.top_land.diametral_clearance",
    ),
    Input("piston_mass", "piston mass", "m_p", units.MASS, "bottom_end.pistons.mass", "cylinder"),
    Input("pin_mass", "pin and locks", "m_g", units.MASS, "bottom_end.pistons.pin_mass", "cylinder"),
    Input("ring_mass", "rings of one piston", "m_r", units.MASS, "bottom_end.pistons.ring_mass", "cylinder"),
    Input("small_end_mass", "rod small end", "m_s", units.MASS, "bottom_end.rods.mass_small_end", "cylinder"),
    Input("big_end_mass", "rod big end", "m_b", units.MASS, "bottom_end.rods.mass_big_end", "cylinder"),
    Input("bearing_mass", "rod bearing shells", "m_l", units.MASS, "bottom_end.balance.bearing_mass"),
    Input("oil_mass", "oil allowance", "m_o", units.MASS, "bottom_end.balance.oil_mass"),
    Input("balance_factor", "balance factor", "f", units.PERCENT, "bottom_end.balance.factor", basis=GIVEN),
    Input("rods_per_pin", "rods on one crankpin", "k", units.COUNT, "bottom_end.balance.rods_per_pin", basis=GIVEN),
    # Top end
    Input("chamber", "chamber volume", "V_c", units.VOLUME, "top_end.heads.chambers", "cylinder"),
    Input("gasket_bore", "gasket bore", "B_g", units.LENGTH, "top_end.gasket.bore"),
    Input("gasket_thickness", "gasket thickness, compressed", "t_g", units.LENGTH, "top_end.gasket.thickness"),
)  # fmt: skip


@computed_input("revolutions_per_cycle", "revolutions in one cycle", "r", units.COUNT, "build.engine.cycle")
def _revolutions(source: Context) -> InputValue:
    item = INPUTS["revolutions_per_cycle"]
    count = float(source.build.revolutions_per_cycle)
    return computed(item, count, source, basis=GIVEN, texts=(f"{count:g}",))


@computed_input("speed_of_interest", "engine speed", "n", units.SPEED, "build.engine.red_line", "speed")
def _speeds_of_interest(source: Context) -> InputValue | None:
    """The red line, and the speed of peak power where the dyno found one."""
    found: dict[str, float] = {}
    red_line = source.build.build.engine.red_line
    if red_line is not None:
        found["at the red line"] = red_line.si
    peak = source.session.peak_power if source.session else None
    if peak is not None:
        found["at peak power"] = peak.speed
    if not found:
        return None
    item = INPUTS["speed_of_interest"]
    return computed(item, np.array(list(found.values())), source, basis=GIVEN, labels=tuple(found))


@computed_input("crank_angle", "crank angle after the top", "\\theta", units.ANGLE, "bottom_end.crankshaft.stroke",
                "crank angle")  # fmt: skip
def _crank_angles(source: Context) -> InputValue:
    """Where the piston's position is tabulated; the quarter turn stands in front."""
    angles = (90, 30, 60, 120, 150)
    texts = tuple(f"{angle}°" for angle in angles)
    item, values = INPUTS["crank_angle"], np.array(angles, dtype=np.float64)
    return InputValue(item.name, item.label, item.symbol, values, texts, GIVEN, Axis(str(item.axis), texts))


__all__ = ["INPUTS", "LISTED", "Context", "Input", "computed", "computed_input", "known_of", "read", "register_inputs"]
