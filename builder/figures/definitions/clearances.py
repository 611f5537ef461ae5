"""Figures of fits and fasteners: clearances at every position, round and straight bores, torque and preload."""

from __future__ import annotations

import numpy as np

from builder.engine import fasteners
from builder.engine import fits as clearance
from builder.engine.values import Value
from builder.figures.core import display_units
from builder.figures.core.registry import (
    COMMON_PRACTICE,
    FITS,
    GEOMETRY,
    MACHINERYS,
    SHIGLEY_BOLTS,
    alternative,
    figure,
)
from builder.figures.core.solver import FigureResult
from builder.figures.definitions import fit_inputs

_NIST = "NIST SP 811 (unit factors)"

# Slug, title, one sentence for a customer, and for what it holds.
_MEASURED = (
    ("main_oil_clearance", "Main oil clearance",
     "The film of oil that each main bearing of the crankshaft runs on.",
     "housing torqued; measured wins over the sum of the parts, and the difference between the two is a finding"),
    ("rod_oil_clearance", "Rod oil clearance",
     "The film of oil between each connecting rod's bearing and its crankpin.",
     "big end torqued; measured wins over the sum of the parts, and the difference between the two is a finding"),
    ("cam_oil_clearance", "Cam oil clearance", "The film of oil that the camshaft runs on.", "as measured"),
    ("piston_clearance", "Piston clearance",
     "The room between piston and bore: too little seizes, too much rattles and wears.",
     "at the piston's gauge point, cold; measured wins over bore less piston"),
    ("pin_clearance", "Pin clearance", "The room the piston's pin turns in.", "as measured"),
    ("top_ring_gap", "Top ring gap",
     "The gap left between the ends of the ring for it to grow into when hot.", "ring square in its own bore"),
    ("second_ring_gap", "Second ring gap",
     "The gap left between the ends of the second ring for it to grow into when hot.", "ring square in its own bore"),
    ("ring_side_clearance", "Ring side clearance",
     "The play of a ring up and down in its groove: enough to move, too little to leak.", "as measured"),
    ("crank_end_float", "Crankshaft end float", "How far the crankshaft can move lengthwise.", "as measured"),
    ("rod_side_clearance", "Rod side clearance",
     "The play of the rods along their crankpin, where the bearing's oil gets out.", "as measured"),
    ("cam_end_float", "Camshaft end float", "How far the camshaft can move lengthwise.", "as measured"),
    ("intake_guide_clearance", "Intake guide clearance",
     "The room between each intake valve's stem and its guide.", "as measured"),
    ("exhaust_guide_clearance", "Exhaust guide clearance",
     "The room between each exhaust valve's stem and its guide.", "as measured"),
)  # fmt: skip

_FROM_PARTS = {
    "main_oil_clearance": r"B_m - 2\,t_m - D_m",
    "rod_oil_clearance": r"B_r - 2\,t_r - D_r",
    "piston_clearance": r"B - D_p",
}


def _as_measured(**measured: Value) -> Value:
    """The one thing it takes."""
    (value,) = measured.values()
    return value


def _register(slug: str, title: str, means: str, holds: str) -> None:
    """A clearance that is what the gauge says it is."""
    name = f"{slug}_measured"
    figure(
        slug,
        title,
        display_units.LENGTH,
        section=FITS,
        source=GEOMETRY if slug in _FROM_PARTS else COMMON_PRACTICE,
        axis=fit_inputs.CLEARANCES[slug],
        means=means,
        formula=_FROM_PARTS.get(slug, r"\mathrm{measured}"),
        working=f"{{{name}}}",
        validity=holds,
        inputs=(name,),
    )(_as_measured)


for _each in _MEASURED:
    _register(*_each)


@alternative("main_oil_clearance", working="{main_bore} − 2 × {main_shell} − {main_journal}")
def main_oil_clearance(main_bore: Value, main_shell: Value, main_journal: Value) -> Value:
    """Main oil clearance from the parts [m]."""
    return clearance.oil_clearance(main_bore, main_shell, main_journal)


@alternative("rod_oil_clearance", working="{big_end_bore} − 2 × {rod_shell} − {rod_journal}")
def rod_oil_clearance(big_end_bore: Value, rod_shell: Value, rod_journal: Value) -> Value:
    """Rod oil clearance from the parts [m]."""
    return clearance.oil_clearance(big_end_bore, rod_shell, rod_journal)


@alternative("piston_clearance", working="{bore} − {piston_diameter}")
def piston_clearance(bore: Value, piston_diameter: Value) -> Value:
    """Piston clearance from bore and piston [m]."""
    return clearance.piston_clearance(bore, piston_diameter)


@figure(
    "bore_taper",
    "Bore taper",
    display_units.LENGTH,
    section=FITS,
    source=COMMON_PRACTICE,
    headline="most",
    means="How much wider a bore is at one depth than at another: a straight bore lets the rings breathe evenly.",
    formula=r"\max_{\mathrm{axes}} \left( B_{most} - B_{least} \right)",
    symbols=(("B_{most}, B_{least}", "largest and least reading down one axis of the bore", "m"),),
    working="{taper_largest} − {taper_least}",
    validity="over the depths that were gauged",
)
def bore_taper(taper_largest: Value, taper_least: Value) -> Value:
    """Taper of each bore [m]."""
    depths = np.stack([np.atleast_1d(taper_largest), np.atleast_1d(taper_least)], axis=-1)
    return clearance.bore_taper(depths[..., np.newaxis])


@figure(
    "bore_out_of_round",
    "Bore out of round",
    display_units.LENGTH,
    section=FITS,
    source=COMMON_PRACTICE,
    headline="most",
    means="How far a bore is from a circle: rings seal only against a round one.",
    formula=r"\max_{\mathrm{depths}} \left( B_{most} - B_{least} \right)",
    symbols=(("B_{most}, B_{least}", "largest and least reading across the bore at one depth", "m"),),
    working="{out_of_round_largest} − {out_of_round_least}",
    validity="over the axes that were gauged",
)
def bore_out_of_round(out_of_round_largest: Value, out_of_round_least: Value) -> Value:
    """Out of round of each bore [m]."""
    axes = np.stack([np.atleast_1d(out_of_round_largest), np.atleast_1d(out_of_round_least)], axis=-1)
    return clearance.bore_out_of_round(axes[..., np.newaxis, :])


@figure(
    "fit_position",
    "Where the fits lie in their ranges",
    display_units.WHOLE_PERCENT,
    section=FITS,
    source=GEOMETRY,
    means="0 % is the tight end of what is allowed, 100 % the loose end: one look shows how the engine was built.",
    formula=r"\frac{x - x_{least}}{x_{most} - x_{least}}",
    symbols=(("x", "mean of the readings", "m"), ("x_{least}, x_{most}", "what is allowed", "m")),
    working="({fit_mean} − {fit_least}) / ({fit_most} − {fit_least})",
    validity="fits whose range has two ends; outside it below 0 % or above 100 %",
)
def fit_position(fit_mean: Value, fit_least: Value, fit_most: Value) -> Value:
    """Where each fit lies in its range [1]."""
    return clearance.fit_position(fit_mean, fit_least, fit_most)


@figure(
    "fastener_torque",
    "Fastener torque",
    display_units.TORQUE,
    section=FITS,
    source=_NIST,
    axis="joint",
    headline="first",
    means="How tight every joint was done up, in both systems of units.",
    formula=r"T_{\mathrm{N\,m}} = 1.355818 \; T_{\mathrm{lbf\,ft}}",
    symbols=(
        (r"T_{\mathrm{N\,m}}", "final torque", "N m"),
        (r"T_{\mathrm{lbf\,ft}}", "the same in pound-force feet", "lbf ft"),
    ),
    working="{joint_torque}",
    validity="the joint as recorded; for the next time the maker's current sheet decides",
)
def fastener_torque(joint_torque: Value) -> Value:
    """Final torque of each joint [N m]."""
    return joint_torque


@figure(
    "fastener_preload",
    "Clamping force, estimated",
    display_units.CLAMPING,
    section=FITS,
    source=MACHINERYS,
    axis="joint",
    headline="first",
    means="Roughly how hard each fastener presses its joint together; most of a torque only overcomes friction.",
    formula=r"F = \frac{T}{K d}",
    symbols=(("T", "final torque", "N m"), ("K", "nut factor for the lubricant", "1"), ("d", "thread diameter", "m")),
    working="{deciding_torque} / ({nut_factor} × {thread_diameter})",
    validity="an estimate for the record, a quarter either way; never a reason to choose a torque; the nut factor as "
    "written down, or from the friction that was",
)  # fmt: skip
def fastener_preload(deciding_torque: Value, nut_factor: Value, thread_diameter: Value) -> FigureResult:
    """Clamping force of one fastener of each joint [N], with the band it may lie in."""
    force = fasteners.fastener_preload(deciding_torque, nut_factor, thread_diameter)
    spread = fasteners.PRELOAD_SPREAD["torque"]
    note = (
        f"Tightened by torque, the true force may lie {spread:.0%} below or above the estimate, and further where "
        "the lubricant was not the one the nut factor is for. Joints finished by an angle are left out: there the "
        "torque before the angle says nothing about the force."
    )
    return FigureResult(force, note=note)


@figure(
    "stretch_preload",
    "Clamping force, by stretch",
    display_units.CLAMPING,
    section=FITS,
    source=SHIGLEY_BOLTS,
    axis="joint",
    headline="first",
    means="How hard each bolt presses its joint together, from how much longer it became: better known than by torque.",
    formula=r"F = \frac{E \, \delta}{\frac{4 \, l_S}{\pi \, d_S^2} + \frac{l_T}{A_T}}",
    symbols=(("E", "Young's modulus of steel, 207 GPa", "Pa"),),
    working="207 GPa × {bolt_stretch} / ({shank_length} / (π/4 × ({shank_diameter})²)"
    " + {thread_length} / {thread_stress_area})",
    validity="steel bolts below yield, shank and thread as springs in a row; good to a twentieth where both ends can be "
    "reached; the maker's stretch decides",
)
def stretch_preload(
    bolt_stretch: Value,
    shank_length: Value,
    shank_diameter: Value,
    thread_length: Value,
    thread_stress_area: Value,
) -> Value:
    """Clamping force of one fastener of each joint [N], from its mean stretch."""
    return fasteners.preload_from_stretch(bolt_stretch, shank_length, shank_diameter, thread_length, thread_stress_area)
