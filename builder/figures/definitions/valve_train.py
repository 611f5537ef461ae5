"""Figures of the valve train: lift, springs, preload, room to the piston."""

from __future__ import annotations

import numpy as np

from builder.engine import valve_train as train
from builder.engine.values import Value
from builder.figures.core import display_units
from builder.figures.core.registry import (
    COMMON_PRACTICE,
    GEOMETRY,
    HEYWOOD_6,
    SHIGLEY,
    VALVE_TRAIN,
    Missing,
    alternative,
    figure,
)
from builder.figures.core.solver import FigureResult
from builder.figures.definitions import cam_inputs  # noqa: F401


@figure(
    "valve_lift",
    "Valve lift, net",
    display_units.LENGTH,
    section=VALVE_TRAIN,
    source=GEOMETRY,
    axis="side",
    headline="first",
    means="How far the valve opens.",
    formula=r"l \, R - j, \quad l = l_v / R_c",
    working="{lobe_lift} × {rocker_ratio} − {lash}",
    validity="stiff valve train; hydraulic lifters have no lash",
)
def valve_lift(lobe_lift: Value, rocker_ratio: Value, lash: Value = 0.0) -> Value:
    """Net valve lift, intake and exhaust [m]."""
    return train.valve_lift(lobe_lift, rocker_ratio, lash)


@alternative("valve_lift", working="{card_valve_lift} / {card_rocker_ratio} × {rocker_ratio} − {lash}")
def valve_lift_with_other_rockers(
    card_valve_lift: Value, card_rocker_ratio: Value, rocker_ratio: Value, lash: Value = 0.0
) -> Value:
    """Net valve lift from the card's, moved from the card's rockers to those on the engine [m]."""
    return train.valve_lift(train.lobe_lift(card_valve_lift, card_rocker_ratio), rocker_ratio, lash)


@alternative("valve_lift", working="{card_valve_lift} − {lash}")
def valve_lift_from_card(card_valve_lift: Value, lash: Value = 0.0) -> Value:
    """Net valve lift from the card's lift at the valve [m]."""
    return card_valve_lift - np.asarray(lash)


@figure(
    "lift_to_diameter",
    "Lift to diameter",
    display_units.RATIO,
    section=VALVE_TRAIN,
    source=HEYWOOD_6,
    axis="side",
    headline="first",
    means="Beyond about a quarter, opening the valve further brings little more air.",
    formula=r"L_v / D_v",
    working="{valve_lift} / {valve_diameter}",
    symbols=(("L_v", "net valve lift", "m"),),
    validity="poppet valves",
)
def lift_to_diameter(valve_lift: Value, valve_diameter: Value) -> Value:
    """Net lift over head diameter, intake and exhaust."""
    return train.lift_to_diameter(valve_lift, valve_diameter)


@figure(
    "curtain_area",
    "Curtain area",
    display_units.AREA,
    section=VALVE_TRAIN,
    source=HEYWOOD_6,
    axis="side",
    headline="first",
    means="The ring-shaped window that the open valve leaves for the gas.",
    formula=r"\pi \, D_v \, L_v",
    working="π × {valve_diameter} × {valve_lift}",
    symbols=(("L_v", "net valve lift", "m"),),
    validity="one valve at full lift",
)
def curtain_area(valve_lift: Value, valve_diameter: Value) -> Value:
    """Curtain area at full lift, intake and exhaust [m2]."""
    return train.curtain_area(valve_lift, valve_diameter)


@figure(
    "lifter_preload",
    "Lifter preload",
    display_units.LENGTH,
    section=VALVE_TRAIN,
    source=GEOMETRY,
    means="How far a hydraulic lifter's plunger is pressed in when the valve is shut.",
    axis="side",
    headline="first",
    formula=r"u \, p \quad \mathrm{or} \quad u \, p \left( 1 + 1/R \right)",
    working="{preload_turns} turns × {adjuster_pitch}",
    validity="an adjuster at the pushrod; where the record says that a nut moves the rocker's pivot, the pushrod's end "
    "goes further by the ratio of the rocker's arms",
)
def lifter_preload(
    preload_turns: Value, adjuster_pitch: Value, pivot_ratio: Value | None = None
) -> Value | FigureResult:
    """Lifter preload where the pushrod sits [m]."""
    if pivot_ratio is None:
        return train.lifter_preload(preload_turns, adjuster_pitch)
    if not np.isfinite(pivot_ratio).any():
        raise Missing("top_end.yaml: rockers.ratio (the adjuster moves the rocker's pivot)")
    preload = train.pivot_lifter_preload(preload_turns, adjuster_pitch, pivot_ratio)
    return FigureResult(preload, "{preload_turns} turns × {adjuster_pitch} × (1 + 1 / {pivot_ratio})")


@figure(
    "spring_rate",
    "Spring rate",
    display_units.STIFFNESS,
    section=VALVE_TRAIN,
    source=SHIGLEY,
    means="How much harder the valve spring pushes for every bit it is pressed together.",
    formula=r"k = \frac{F_2 - F_1}{h_1 - h_2}",
    symbols=(("F_1, F_2", "loads on the tester", "N"), ("h_1, h_2", "heights on the tester", "m")),
    working="({last_tested_load} − {first_tested_load}) / ({first_tested_height} − {last_tested_height})",
    validity="springs of constant rate; between the heights tested",
)
def spring_rate(
    first_tested_load: Value, first_tested_height: Value, last_tested_load: Value, last_tested_height: Value
) -> Value:
    """Spring rate from the tester [N/m]."""
    return train.spring_rate(first_tested_load, first_tested_height, last_tested_load, last_tested_height)


@alternative("spring_rate", working="as listed: {rate_listed}")
def spring_rate_listed(rate_listed: Value) -> Value:
    """Spring rate as listed [N/m]."""
    return rate_listed


@figure(
    "seat_load",
    "Seat load",
    display_units.FORCE,
    section=VALVE_TRAIN,
    source=SHIGLEY,
    means="How hard the spring holds the valve shut.",
    formula=r"F_0 = F_1 + k (h_1 - h_0)",
    working="{seat_load_recorded}",
    symbols=(
        ("F_1, h_1", "load and height on the tester", "N, m"),
        ("k", "spring rate", "N/m"),
        ("h_0", "installed height", "m"),
    ),
    validity="at the installed height",
)
def seat_load(seat_load_recorded: Value) -> Value:
    """Seat load as recorded [N]."""
    return seat_load_recorded


@alternative("seat_load", working="{first_tested_load} + {spring_rate} × ({first_tested_height} − {installed_height})")
def seat_load_from_tester(
    first_tested_load: Value, first_tested_height: Value, spring_rate: Value, installed_height: Value
) -> Value:
    """Seat load from the tester, moved to the installed height [N]."""
    return train.seat_load(spring_rate, first_tested_load, first_tested_height, installed_height)


@figure(
    "open_load",
    "Open load",
    display_units.FORCE,
    section=VALVE_TRAIN,
    source=SHIGLEY,
    axis="side",
    headline="first",
    means="How hard the spring pushes with the valve fully open: it must keep the valve on the cam at speed.",
    formula=r"F_0 + k \, L_v",
    working="{seat_load} + {spring_rate} × {valve_lift}",
    symbols=(("F_0", "seat load", "N"), ("k", "spring rate", "N/m"), ("L_v", "net valve lift", "m")),
    validity="springs of constant rate",
)
def open_load(seat_load: Value, spring_rate: Value, valve_lift: Value) -> Value:
    """Load at full lift, intake and exhaust [N]."""
    return train.open_load(seat_load, spring_rate, valve_lift)


@figure(
    "coil_bind_clearance",
    "Travel left before coil bind",
    display_units.LENGTH,
    section=VALVE_TRAIN,
    source=SHIGLEY,
    axis="side",
    headline="least",
    means="How much further the spring could be pressed before its coils touch.",
    formula=r"h_0 - L_v - h_s",
    working="measured: {coil_bind_measured}",
    symbols=(("h_0", "installed height", "m"), ("L_v", "net valve lift", "m"), ("h_s", "height at coil bind", "m")),
    validity="measured wins",
)
def coil_bind_clearance(coil_bind_measured: Value) -> Value:
    """Travel left, as measured [m]."""
    return coil_bind_measured


@alternative("coil_bind_clearance", working="{installed_height} − {valve_lift} − {solid_height}")
def coil_bind_clearance_computed(installed_height: Value, valve_lift: Value, solid_height: Value) -> Value:
    """Travel left before coil bind, intake and exhaust [m]."""
    return train.coil_bind_clearance(installed_height, valve_lift, solid_height)


@figure(
    "piston_to_valve",
    "Piston to valve",
    display_units.LENGTH,
    section=VALVE_TRAIN,
    source=COMMON_PRACTICE,
    axis="side",
    headline="least",
    means="The least gap between valve and piston as the engine turns over.",
    formula=r"\min \;\mathrm{(valve\ to\ piston)}",
    working="{piston_to_valve_measured}",
    validity="measured at assembly; the least gap comes a little before or after the top",
)
def piston_to_valve(piston_to_valve_measured: Value) -> Value:
    """Least distance, intake and exhaust [m]."""
    return piston_to_valve_measured
