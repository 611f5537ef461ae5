"""Figures of the valve train at speed: surge of the springs, acceleration of the valves, the force it takes."""

from __future__ import annotations

from builder.engine import valve_dynamics as dynamics
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Input
from builder.figures.core.registry import DEFINITION, GEOMETRY, SHIGLEY, VALVE_TRAIN, Definitions
from builder.figures.core.types import GIVEN
from builder.record.models.build import Build


def _springs_weighed(build: Build) -> bool:
    return build.has_valves and build.get("top_end.springs.mass") is not None


define = Definitions(VALVE_TRAIN, applies=_springs_weighed)

define.add_inputs(
    Input("spring_mass", "springs of one valve", "m_s", units.MASS, "top_end.springs.mass"),
    Input("active_coils", "active coils", "N_a", units.INDEX, "top_end.springs.active_coils", provenance=GIVEN),
    Input("total_coils", "coils", "N_t", units.INDEX, "top_end.springs.total_coils", provenance=GIVEN),
)


@define.figure(
    "active_spring_mass",
    "Mass of the active coils",
    units.MASS,
    source=GEOMETRY,
    means="The part of a valve spring that moves; the closed ends rest on seat and retainer.",
    formula=r"m_s \, N_a / N_t",
    working="{spring_mass} × {active_coils} / {total_coils}",
    validity="wire of one thickness; of a double spring, both together",
)
def active_spring_mass(spring_mass: Value, active_coils: Value, total_coils: Value) -> Value:
    """Return the mass of the coils that move [kg]."""
    return dynamics.active_spring_mass(spring_mass, active_coils, total_coils)


@define.figure(
    "spring_surge_frequency",
    "Spring surge frequency",
    units.FREQUENCY,
    source=SHIGLEY,
    means="The lowest frequency at which the coils of a valve spring swing by themselves.",
    formula=r"\frac{1}{2} \sqrt{k / m_a}",
    symbols=(("k", "spring rate", "N/m"), ("m_a", "mass of the active coils", "kg")),
    working="1/2 × √({spring_rate} / {active_spring_mass})",
    validity="constant rate, no damper; a mean for double springs, a beehive is higher",
)
def spring_surge_frequency(spring_rate: Value, active_spring_mass: Value) -> Value:
    """Return the lowest natural frequency of the spring [Hz]."""
    return dynamics.surge_frequency(spring_rate, active_spring_mass)


@define.figure(
    "spring_surge_order",
    "Surge frequency over cam speed at redline",
    units.INDEX,
    source=DEFINITION,
    means="How many times the springs can swing in one turn of the cam; low orders are excited most.",
    formula=r"r \, f / n",
    symbols=(("f", "spring surge frequency", "Hz"), ("n", "engine speed at redline", "rev/s")),
    working="{revolutions_per_cycle} × {spring_surge_frequency} / {red_line}",
    validity="Shigley asks for 15 to 20 (from memory), which few valve springs reach; the cam's shape decides",
)
def spring_surge_order(spring_surge_frequency: Value, red_line: Value, revolutions_per_cycle: Value) -> Value:
    """Return the surge frequency over the speed of the cam at redline."""
    return dynamics.surge_order(spring_surge_frequency, red_line, revolutions_per_cycle)
