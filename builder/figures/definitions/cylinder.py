"""Figures of the cylinder and its compression."""

from __future__ import annotations

import numpy as np

from builder.engine import geometry, kinematics
from builder.engine.values import Value
from builder.figures.core import display_units
from builder.figures.core.registry import (
    COMMON_PRACTICE,
    CYLINDER,
    GEOMETRY,
    HEYWOOD_2,
    TAYLOR_2,
    Missing,
    alternative,
    figure,
)
from builder.figures.core.solver import FigureResult


@figure(
    "swept_volume",
    "Swept volume",
    display_units.VOLUME,
    section=CYLINDER,
    source=HEYWOOD_2,
    means="The volume one piston sweeps on its way from top to bottom.",
    formula=r"V_s = \frac{\pi}{4} B^2 S",
    working="π/4 × ({bore})² × {stroke}",
    validity="any engine",
)
def swept_volume(bore: Value, stroke: Value) -> Value:
    """Swept volume of each cylinder [m3]."""
    return geometry.swept_volume(bore, stroke)


@figure(
    "displacement",
    "Displacement",
    display_units.DISPLACEMENT,
    section=CYLINDER,
    source=HEYWOOD_2,
    vectorised=True,
    means="The size of the engine: the volume all pistons sweep together.",
    formula=r"V_d = N \, V_s",
    working="{cylinders} × {swept_volume}",
    validity="any number of cylinders",
)
def displacement(cylinders: Value, swept_volume: Value) -> Value:
    """All cylinders together [m3], from the mean of those gauged."""
    return geometry.displacement(float(np.mean(swept_volume)), round(float(cylinders)))


@figure(
    "bore_stroke_ratio",
    "Bore to stroke",
    display_units.RATIO,
    section=CYLINDER,
    source=HEYWOOD_2,
    means="Above one the cylinder is wider than the stroke is long, which favours speed.",
    formula=r"B / S",
    working="{bore} / {stroke}",
    validity="any engine",
)
def bore_stroke_ratio(bore: Value, stroke: Value) -> Value:
    """Bore over stroke."""
    return geometry.bore_stroke_ratio(bore, stroke)


@figure(
    "rod_ratio",
    "Rod ratio",
    display_units.RATIO,
    section=CYLINDER,
    source=HEYWOOD_2,
    means="How long the connecting rod is against the stroke; a longer rod leans less.",
    formula=r"L / S",
    working="{rod_length} / {stroke}",
    validity="1.4 to 2.2 in running engines",
)
def rod_ratio(rod_length: Value, stroke: Value) -> Value:
    """Rod length over stroke."""
    return geometry.rod_ratio(rod_length, stroke)


@figure(
    "deck_clearance",
    "Deck clearance",
    display_units.LENGTH,
    section=CYLINDER,
    source=GEOMETRY,
    means="How far the piston stops below the top of the block; negative when it stands proud.",
    formula=r"c = H - \left( S/2 + L + h \right)",
    working="by dial gauge: {deck_clearance_measured}",
    validity="the gauge wins over the sum of the parts; the difference between the two is a finding",
)
def deck_clearance(deck_clearance_measured: Value) -> Value:
    """Deck clearance as the dial gauge found it [m]."""
    return deck_clearance_measured


@alternative("deck_clearance", working="{deck_height} − ({stroke} / 2 + {rod_length} + {compression_height})")
def deck_clearance_from_parts(deck_height: Value, stroke: Value, rod_length: Value, compression_height: Value) -> Value:
    """Deck clearance as the parts stack up [m]."""
    return geometry.deck_clearance(deck_height, stroke, rod_length, compression_height)


@figure(
    "compression_height_from_deck",
    "Compression height by the deck",
    display_units.LENGTH,
    section=CYLINDER,
    source=GEOMETRY,
    means="How tall the piston is above its pin, as the deck clearance shows it: a short one is found without taking "
    "it out.",
    formula=r"h = H - \left( S/2 + L + c \right)",
    working="{deck_height} − ({stroke} / 2 + {rod_length} + {deck_clearance_measured})",
    validity="where the deck clearance was gauged; it lays on the piston what block, crank or rod may have done",
)
def compression_height_from_deck(
    deck_height: Value, stroke: Value, rod_length: Value, deck_clearance_measured: Value
) -> Value:
    """Compression height that the gauged deck clearance leaves to the piston [m]."""
    return geometry.compression_height_from_deck(deck_height, stroke, rod_length, deck_clearance_measured)


@figure(
    "quench",
    "Quench",
    display_units.LENGTH,
    section=CYLINDER,
    source=COMMON_PRACTICE,
    means="The gap between piston and head at the top: tight enough to stir the charge, wide enough never to touch.",
    formula=r"q = c + t_g",
    working="{deck_clearance} + {gasket_thickness}",
    validity="heads with a flat facing the piston",
)
def quench(deck_clearance: Value, gasket_thickness: Value) -> Value:
    """Squish distance [m]."""
    return geometry.quench(deck_clearance, gasket_thickness)


@figure(
    "crown_volume",
    "Crown volume",
    display_units.VOLUME,
    section=CYLINDER,
    source=GEOMETRY,
    means="What the shape of the piston crown adds to the space above it: a dish adds, a dome takes away.",
    formula=r"V_{dish} - V_{dome}",
    working="{dish} − {dome}",
    validity="any crown; a flat top is a dish of 0 cc",
)
def crown_volume(dish: Value | None = None, dome: Value | None = None) -> Value:
    """Dish less dome [m3]."""
    if dish is None and dome is None:
        raise Missing("bottom_end.yaml: pistons.dish (0 cc for a flat top) or pistons.dome")
    return (0.0 if dish is None else dish) - (0.0 if dome is None else dome)


@figure(
    "top_land_volume",
    "Top land crevice",
    display_units.VOLUME,
    section=CYLINDER,
    source=GEOMETRY,
    means="The narrow space around the piston above its top ring.",
    formula=r"\frac{\pi}{4} \left( B^2 - (B - c_t)^2 \right) h_t",
    working="π/4 × (({bore})² − ({bore} − {top_land_clearance})²) × {top_land_height}",
    validity="any piston",
)
def top_land_volume(bore: Value, top_land_clearance: Value, top_land_height: Value) -> Value:
    """Crevice above the top ring [m3]."""
    return geometry.top_land_volume(bore, bore - top_land_clearance, top_land_height)


@figure(
    "clearance_volume",
    "Clearance volume",
    display_units.VOLUME,
    section=CYLINDER,
    source=GEOMETRY,
    means="All the space left above the piston when it stands at the top.",
    formula=r"V_k = V_c + \frac{\pi}{4} B_g^2 t_g + \frac{\pi}{4} B^2 c + V_{crown} + V_{land}",
    symbols=(("V_{crown}", "crown volume", "m³"), ("V_{land}", "top land crevice, if recorded", "m³")),
    working="{chamber} + π/4 × ({gasket_bore})² × {gasket_thickness} + π/4 × ({bore})² × {deck_clearance}"
    " + {crown_volume} + {top_land_volume}",
    validity="any engine; the top land counts only if it was recorded",
)
def clearance_volume(
    chamber: Value,
    gasket_bore: Value,
    gasket_thickness: Value,
    bore: Value,
    deck_clearance: Value,
    crown_volume: Value,
    top_land_volume: Value = 0.0,
) -> Value:
    """Clearance volume of each cylinder [m3]."""
    return geometry.clearance_volume(
        chamber,
        geometry.gasket_volume(gasket_bore, gasket_thickness),
        geometry.deck_volume(bore, deck_clearance),
        crown_volume,
        top_land_volume,
    )


@figure(
    "compression_ratio",
    "Compression ratio",
    display_units.COMPRESSION,
    section=CYLINDER,
    source=HEYWOOD_2,
    means="How far the charge is squeezed: the more, the more work it gives, and the better the fuel it asks for.",
    formula=r"\frac{V_s + V_k}{V_k}",
    working="({swept_volume} + {clearance_volume}) / {clearance_volume}",
    symbols=(("V_s", "swept volume", "m³"), ("V_k", "clearance volume", "m³")),
    validity="any engine",
)
def compression_ratio(swept_volume: Value, clearance_volume: Value) -> Value:
    """Compression ratio of each cylinder."""
    return geometry.compression_ratio(swept_volume, clearance_volume)


@figure(
    "clearance_volume_wanted",
    "Clearance volume for the ratio asked for",
    display_units.VOLUME,
    section=CYLINDER,
    source=HEYWOOD_2,
    means="The space that would have to be left above the piston to meet the compression ratio that was asked for.",
    formula=r"V_{k,w} = \frac{V_s}{\varepsilon - 1}",
    symbols=(("V_s", "swept volume", "m³"),),
    working="{swept_volume} / ({compression_wanted} − 1)",
    validity="any engine",
)
def clearance_volume_wanted(swept_volume: Value, compression_wanted: Value) -> Value:
    """Clearance volume of each cylinder that gives the ratio asked for [m3]."""
    return geometry.clearance_for_ratio(swept_volume, compression_wanted)


@figure(
    "crown_volume_wanted",
    "Crown volume for the ratio asked for",
    display_units.VOLUME,
    section=CYLINDER,
    source=GEOMETRY,
    means="The dish the pistons would need to meet the compression ratio that was asked for; negative is a dome.",
    formula=r"V_{k,w} - V_c - \frac{\pi}{4} B_g^2 t_g - \frac{\pi}{4} B^2 c - V_{land}",
    symbols=(
        ("V_{k,w}", "clearance volume for the ratio asked for", "m³"),
        ("c", "deck clearance", "m"),
        ("V_{land}", "top land crevice, if recorded", "m³"),
    ),
    working="{clearance_volume_wanted} − {chamber} − π/4 × ({gasket_bore})² × {gasket_thickness}"
    " − π/4 × ({bore})² × {deck_clearance} − {top_land_volume}",
    validity="with chamber, gasket and deck as they are; the top land counts only if it was recorded",
)
def crown_volume_wanted(
    clearance_volume_wanted: Value,
    chamber: Value,
    gasket_bore: Value,
    gasket_thickness: Value,
    bore: Value,
    deck_clearance: Value,
    top_land_volume: Value = 0.0,
) -> Value:
    """Crown volume of each cylinder that gives the ratio asked for, dish positive [m3]."""
    return geometry.crown_volume(
        clearance_volume_wanted,
        chamber,
        geometry.gasket_volume(gasket_bore, gasket_thickness),
        geometry.deck_volume(bore, deck_clearance),
        top_land_volume,
    )


@figure(
    "mean_piston_speed",
    "Mean piston speed",
    display_units.VELOCITY,
    section=CYLINDER,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="How fast the pistons travel on average: what wears and loads an engine, whatever its size.",
    formula=r"2 S n",
    working="2 × {stroke} × {speed_of_interest}",
    validity="any engine",
)
def mean_piston_speed(stroke: Value, speed_of_interest: Value) -> Value:
    """Mean piston speed at peak power and at the red line [m/s]."""
    return kinematics.mean_piston_speed(stroke, speed_of_interest)


@figure(
    "piston_position",
    "Piston from the top",
    display_units.LENGTH,
    section=CYLINDER,
    source=HEYWOOD_2,
    axis="crank angle",
    headline="first",
    means="How far the piston has come down when the crank has turned: at a quarter turn already more than half-way.",
    formula=r"x = \frac{S}{2} (1 - \cos\theta) + L - \sqrt{L^2 - \left( \frac{S}{2} \sin\theta \right)^2}",
    working="{stroke} / 2 × (1 − cos {crank_angle}) + {rod_length}"
    " − √(({rod_length})² − ({stroke} / 2 × sin {crank_angle})²)",
    validity="exact slider-crank; a pin offset, where recorded, is counted though the formula leaves it out",
)
def piston_position(stroke: Value, rod_length: Value, crank_angle: Value, pin_offset: Value = 0.0) -> FigureResult:
    """Piston below its top dead centre [m] at crank angles after it [deg]."""
    position = kinematics.piston_position(np.radians(crank_angle), stroke, rod_length, pin_offset)
    return FigureResult(position, working=_OFFSET_POSITION if np.any(pin_offset) else None)


_OFFSET_POSITION = (
    "with sin δ = {pin_offset} / ({stroke} / 2 + {rod_length}):"
    " √(({stroke} / 2 + {rod_length})² − ({pin_offset})²) − {stroke} / 2 × cos({crank_angle} − δ)"
    " − √(({rod_length})² − ({stroke} / 2 × sin({crank_angle} − δ) + {pin_offset})²)"
)
"""With a pin offset the piston is at its top a little before the crank is."""


@figure(
    "piston_speed",
    "Greatest piston speed",
    display_units.FAST_VELOCITY,
    section=CYLINDER,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="How fast a piston moves at its fastest, part-way down.",
    formula=r"\max_\theta \; 2 \pi n \, \frac{dx}{d\theta}",
    symbols=(("x", "piston from the top, exact slider-crank", "m"), ("\\theta", "crank angle", "rad")),
    working="greatest of 2π × {speed_of_interest} × dx/dθ, for stroke {stroke} and rod {rod_length}",
    validity="exact slider-crank, pin offset included where recorded; steady speed",
)
def piston_speed(stroke: Value, rod_length: Value, speed_of_interest: Value, pin_offset: Value = 0.0) -> FigureResult:
    """Greatest speed of the piston on its way down [m/s]."""
    angle = kinematics.peak_speed_angle(stroke, rod_length, pin_offset)
    speed = kinematics.piston_speed(angle, stroke, rod_length, speed_of_interest, pin_offset)
    where = float(np.mean(np.degrees(angle)))
    return FigureResult(speed, note=f"Reached {where:.1f}° of crank after the top.")


@figure(
    "piston_acceleration",
    "Greatest piston acceleration",
    display_units.ACCELERATION,
    section=CYLINDER,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="How hard the piston is turned round at the top: this is what rods, pins and rod bolts have to stand.",
    formula=r"\frac{S}{2} \, (2 \pi n)^2 \left( 1 + \frac{S}{2L} \right)",
    working="{stroke} / 2 × (2π × {speed_of_interest})² × (1 + {stroke} / (2 × {rod_length}))",
    validity="at top dead centre; exact slider-crank, pin offset included where recorded; steady speed",
)
def piston_acceleration(stroke: Value, rod_length: Value, speed_of_interest: Value, pin_offset: Value = 0.0) -> Value:
    """Acceleration of the piston at top dead centre [m/s2]."""
    return kinematics.piston_acceleration(0.0, stroke, rod_length, speed_of_interest, pin_offset)


@figure(
    "reciprocating_mass",
    "Reciprocating mass",
    display_units.MASS,
    section=CYLINDER,
    source=COMMON_PRACTICE,
    means="What goes up and down in one cylinder: piston, pin, rings and the small end of the rod.",
    formula=r"m_p + m_g + m_r + m_s",
    working="{piston_mass} + {pin_mass} + {ring_mass} + {small_end_mass}",
    validity="any engine",
)
def reciprocating_mass(piston_mass: Value, pin_mass: Value, ring_mass: Value, small_end_mass: Value) -> Value:
    """Reciprocating mass of each cylinder [kg]."""
    return piston_mass + pin_mass + ring_mass + small_end_mass


@figure(
    "inertia_force_tdc",
    "Inertia force at the top",
    display_units.FORCE,
    section=CYLINDER,
    source=TAYLOR_2,
    means="The pull on the rod when the piston turns round at the top at the red line.",
    formula=r"m \frac{S}{2} \omega^2 \left( 1 + \frac{S}{2L} \right)",
    symbols=(("m", "reciprocating mass", "kg"), ("\\omega", "crank speed at the red line", "rad/s")),
    working="{reciprocating_mass} × {stroke} / 2 × (2π × {red_line})² × (1 + {stroke} / (2 × {rod_length}))",
    validity="at the red line, without gas load",
)
def inertia_force_tdc(reciprocating_mass: Value, stroke: Value, rod_length: Value, red_line: Value) -> Value:
    """Inertia force at TDC at the red line [N]."""
    return kinematics.inertia_force_tdc(reciprocating_mass, stroke, rod_length, red_line)


@figure(
    "bobweight",
    "Bobweight",
    display_units.MASS,
    section=CYLINDER,
    source=COMMON_PRACTICE,
    means="The weight hung on each crankpin while the crankshaft is balanced.",
    formula=r"k (m_b + m_l) + m_o + f k m",
    symbols=(("m", "reciprocating mass", "kg"),),
    working="{rods_per_pin} × ({big_end_mass} + {bearing_mass}) + {oil_mass}"
    " + {balance_factor} × {rods_per_pin} × {reciprocating_mass}",
    validity="one crankpin",
)
def bobweight(
    big_end_mass: Value,
    bearing_mass: Value,
    reciprocating_mass: Value,
    balance_factor: Value,
    rods_per_pin: Value,
    oil_mass: Value = 0.0,
) -> Value:
    """Bobweight of one crankpin [kg]."""
    return kinematics.bobweight(
        big_end_mass + bearing_mass, reciprocating_mass, int(rods_per_pin), float(balance_factor), oil_mass
    )
