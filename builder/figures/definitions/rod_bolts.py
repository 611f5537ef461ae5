"""Figures of the rod bolts: what they carry at redline, and the margin to their proof load."""

from __future__ import annotations

from builder.engine import fasteners, rod_bolts
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import CYLINDER, DEFINITION, TAYLOR_2, Definitions
from builder.figures.core.types import GIVEN, InputValue
from builder.record.quantities.threads import parse_thread

define = Definitions(CYLINDER)

define.add_inputs(
    Input("cap_mass", "rod cap", "m_c", units.MASS, "bottom_end.rods.mass_cap", "cylinder"),
    Input("bolts_per_rod", "bolts of one rod", "z", units.COUNT, "bottom_end.rods.bolts.per_rod", provenance=GIVEN),
    Input("rod_bolt_proof_load", "proof load of a rod bolt", "F_p", units.CLAMPING, "bottom_end.rods.bolts.proof_load"),
)


@define.computed_input(
    "rod_bolt_area", "stress area of a rod bolt", "A_t", units.AREA, "bottom_end.rods.bolts.size",
    hint="bottom_end.yaml: rods.bolts.size, such as 7/16-20 or M9x1.25",
)  # fmt: skip
def _rod_bolt_area(context: Context, item: Input) -> InputValue | None:
    size: str | None = context.build.get(item.path)
    thread = parse_thread(size) if size else None
    if size is None or thread is None:
        return None
    area = fasteners.tensile_stress_area(thread.diameter, thread.pitch, thread.kind)
    return item.value(area, (f"stress area of {size}",), GIVEN, where=context.build.where(item.path))


@define.figure(
    "rod_bolt_load",
    "Rod bolt load at redline",
    units.CLAMPING,
    source=TAYLOR_2,
    headline="most",
    means="What each rod bolt has to hold at TDC at redline; its preload must be larger, or the cap parts.",
    formula=r"\frac{1}{z} \, \frac{S}{2} \, \omega^2 \left[ m \left( 1 + \frac{S}{2L} \right) + m_b - m_c \right]",
    symbols=(
        ("m", "reciprocating mass", "kg"),
        (r"\omega", "crank speed at redline", "rad/s"),
        ("m_c", "rod cap; counted as nothing where it was not weighed, which is on the safe side", "kg"),
    ),
    working="{stroke} / 2 × (2π × {red_line})² × [{reciprocating_mass} × (1 + {stroke} / (2 × {rod_length}))"
    " + {big_end_mass} − {cap_mass}] / {bolts_per_rod}",
    validity="no gas load; an over-rev of a tenth adds a fifth; the manufacturer's stretch or torque comes first",
)
def rod_bolt_load(
    reciprocating_mass: Value,
    big_end_mass: Value,
    stroke: Value,
    rod_length: Value,
    red_line: Value,
    bolts_per_rod: Value,
    cap_mass: Value = 0.0,
) -> Value:
    """Return the load on each rod bolt at redline [N]."""
    return rod_bolts.rod_bolt_load(
        reciprocating_mass, big_end_mass, stroke, rod_length, red_line, int(bolts_per_rod), cap_mass
    )


@define.figure(
    "rod_bolt_stress",
    "Rod bolt stress at redline",
    units.STRESS,
    source="ISO 898-1 and ASME B1.1 (stress area)",
    headline="most",
    means="The load on a rod bolt over the stress area of its thread; a thinner shank carries more.",
    formula=r"F / A_t",
    symbols=(("F", "rod bolt load", "N"),),
    working="{rod_bolt_load} / {rod_bolt_area}",
    validity="from the load alone, without preload, bending or gas load",
)
def rod_bolt_stress(rod_bolt_load: Value, rod_bolt_area: Value) -> Value:
    """Return the stress in each rod bolt from the load at redline [Pa]."""
    return rod_bolt_load / rod_bolt_area


@define.figure(
    "rod_bolt_margin",
    "Rod bolt proof load over load",
    units.INDEX,
    source=DEFINITION,
    headline="least",
    means="How many times the load at redline goes into the bolt's proof load.",
    formula=r"F_p / F",
    symbols=(("F", "rod bolt load", "N"),),
    working="{rod_bolt_proof_load} / {rod_bolt_load}",
    validity="what is enough, the manufacturer of the bolts says",
)
def rod_bolt_margin(rod_bolt_proof_load: Value, rod_bolt_load: Value) -> Value:
    """Return proof load over load at redline."""
    return rod_bolt_proof_load / rod_bolt_load
