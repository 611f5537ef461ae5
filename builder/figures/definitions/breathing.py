"""Figures of breathing: how much air the engine asks for, and what heads, induction and injectors can pass."""

from __future__ import annotations

import numpy as np

from builder.engine import air, breathing
from builder.engine.constants import STANDARD_ATMOSPHERE
from builder.engine.values import Value, unwrap_scalar
from builder.figures.core import display_units
from builder.figures.core.registry import (
    AIR,
    COMMON_PRACTICE,
    HEYWOOD_2,
    HEYWOOD_6,
    TAYLOR_1,
    alternative,
    figure,
)
from builder.figures.definitions import breathing_inputs  # noqa: F401

_BERNOULLI = "common practice, no source; Bernoulli"
_CONTINUITY = "continuity"
_ONE_CYLINDER = "the flow of one cylinder's port with all its valves; depressions to about 40 inH2O"


@figure(
    "air_demand",
    "Air the engine asks for",
    display_units.VOLUME_FLOW,
    section=AIR,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="How much air an engine of this size would swallow if its cylinders filled completely.",
    formula=r"V_d \, \frac{n}{r} \, VE",
    symbols=(("V_d", "displacement", "m³"), ("VE", "volumetric efficiency, taken as 100 %", "1")),
    working="{displacement} × {speed_of_interest} / {revolutions_per_cycle} × 100 %",
    validity="at 100 % volumetric efficiency, counted in outside air; a blown engine asks for more with its boost",
)
def air_demand(displacement: Value, speed_of_interest: Value, revolutions_per_cycle: Value) -> Value:
    """Volume flow of air at 100 % volumetric efficiency [m3/s]."""
    return breathing.air_demand(displacement, speed_of_interest, 1.0, _revolutions(revolutions_per_cycle))


def _revolutions(counted: Value) -> int:
    return round(float(np.mean(counted)))


@figure(
    "induction_headroom",
    "Induction against demand",
    display_units.RATIO,
    section=AIR,
    source=_BERNOULLI,
    axis="speed",
    headline="least",
    means="Above one the carburettor or throttle passes more air than the engine asks for; below one it holds it back.",
    formula=r"\frac{Q_r}{Q} \sqrt{\frac{\Delta p}{\Delta p_r}}",
    symbols=(("Q", "air the engine asks for", "m³/s"),),
    working="{rated_flow} × √({allowed_depression} / {rated_depression}) / {air_demand}",
    validity="rating and demand at the same depression; at 100 % volumetric efficiency",
)
def induction_headroom(
    rated_flow: Value, rated_depression: Value, allowed_depression: Value, air_demand: Value
) -> Value:
    """Rated flow over demand, both at the depression that is allowed [1]."""
    return breathing.induction_headroom(rated_flow, rated_depression, air_demand, allowed_depression)


@alternative("induction_headroom", working="{rated_flow} / {air_demand}, at the depression of the rating")
def induction_headroom_as_rated(rated_flow: Value, air_demand: Value) -> Value:
    """Rated flow over demand at the depression of the rating [1]."""
    return unwrap_scalar(np.asarray(rated_flow) / np.asarray(air_demand))


@figure(
    "flow_at_depression",
    "Intake flow at 28 inH2O",
    display_units.VOLUME_FLOW,
    section=AIR,
    source="Bernoulli",
    axis="valve lift",
    headline="most",
    means="What the intake port passes at each lift, moved to the depression at which heads are compared.",
    formula=r"Q \sqrt{\frac{\Delta p_{28}}{\Delta p}}",
    working="{intake_bench_flow} × √({compared_depression} / {bench_depression})",
    validity=_ONE_CYLINDER,
)
def flow_at_depression(intake_bench_flow: Value, bench_depression: Value, compared_depression: Value) -> Value:
    """Intake flow at each lift at 28 inH2O [m3/s]."""
    return breathing.flow_at_depression(intake_bench_flow, bench_depression, compared_depression)


@figure(
    "exhaust_flow_at_depression",
    "Exhaust flow at 28 inH2O",
    display_units.VOLUME_FLOW,
    section=AIR,
    source="Bernoulli",
    axis="valve lift",
    headline="most",
    means="What the exhaust port passes at each lift, moved to the depression at which heads are compared.",
    formula=r"Q \sqrt{\frac{\Delta p_{28}}{\Delta p}}",
    working="{exhaust_bench_flow} × √({compared_depression} / {bench_depression})",
    validity=_ONE_CYLINDER,
)
def exhaust_flow_at_depression(exhaust_bench_flow: Value, bench_depression: Value, compared_depression: Value) -> Value:
    """Exhaust flow at each lift at 28 inH2O [m3/s]."""
    return breathing.flow_at_depression(exhaust_bench_flow, bench_depression, compared_depression)


_DISCHARGE = r"C_d = \frac{Q}{z \, \pi D_v L \sqrt{2 \Delta p / \rho}}"
_DISCHARGE_HOLDS = "bench air taken as 1.204 kg/m³ (20 °C, 101.325 kPa), common practice; to about 40 inH2O"


def _discharge(flow: Value, lift: Value, diameter: Value, valves: Value, depression: Value, density: Value) -> Value:
    curtain = np.pi * np.asarray(valves) * np.asarray(diameter) * np.asarray(lift)
    return breathing.discharge_coefficient(flow, curtain, depression, density)


@figure(
    "discharge_coefficient",
    "Discharge coefficient, intake",
    display_units.RATIO,
    section=AIR,
    source=HEYWOOD_6,
    axis="valve lift",
    headline="most",
    means="How well the intake port uses the window its valve opens: 1 would be perfect.",
    formula=_DISCHARGE,
    working="{intake_bench_flow} / ({intake_valves} × π × {intake_valve_diameter} × {intake_bench_lift}"
    " × √(2 × {bench_depression} / {bench_air}))",
    validity=_DISCHARGE_HOLDS,
)
def discharge_coefficient(
    intake_bench_flow: Value,
    intake_bench_lift: Value,
    intake_valve_diameter: Value,
    intake_valves: Value,
    bench_depression: Value,
    bench_air: Value,
) -> Value:
    """Discharge coefficient of the intake at each lift, on the curtain area [1]."""
    return _discharge(
        intake_bench_flow, intake_bench_lift, intake_valve_diameter, intake_valves, bench_depression, bench_air
    )


@figure(
    "exhaust_discharge_coefficient",
    "Discharge coefficient, exhaust",
    display_units.RATIO,
    section=AIR,
    source=HEYWOOD_6,
    axis="valve lift",
    headline="most",
    means="How well the exhaust port uses the window its valve opens: 1 would be perfect.",
    formula=_DISCHARGE,
    working="{exhaust_bench_flow} / ({exhaust_valves} × π × {exhaust_valve_diameter} × {exhaust_bench_lift}"
    " × √(2 × {bench_depression} / {bench_air}))",
    validity=_DISCHARGE_HOLDS,
)
def exhaust_discharge_coefficient(
    exhaust_bench_flow: Value,
    exhaust_bench_lift: Value,
    exhaust_valve_diameter: Value,
    exhaust_valves: Value,
    bench_depression: Value,
    bench_air: Value,
) -> Value:
    """Discharge coefficient of the exhaust at each lift, on the curtain area [1]."""
    return _discharge(
        exhaust_bench_flow, exhaust_bench_lift, exhaust_valve_diameter, exhaust_valves, bench_depression, bench_air
    )


@figure(
    "mean_port_velocity",
    "Mean velocity in the intake port",
    display_units.FAST_VELOCITY,
    section=AIR,
    source=_CONTINUITY,
    axis="speed",
    headline="most",
    means="How fast the air must travel through the narrowest part of the port on average.",
    formula=r"\frac{\pi}{4} B^2 \, \frac{S_p}{A_p}",
    symbols=(("S_p", "mean piston speed", "m/s"),),
    working="π/4 × ({bore})² × {mean_piston_speed} / {intake_port_area}",
    validity="smallest section of all intake ports of one cylinder; mean over a stroke, as if the port stood open for all "
    "of it",
)
def mean_port_velocity(bore: Value, mean_piston_speed: Value, intake_port_area: Value) -> Value:
    """Mean velocity at the narrowest section [m/s]."""
    return breathing.mean_port_velocity(bore, mean_piston_speed, intake_port_area)


@figure(
    "inlet_mach_index",
    "Inlet Mach index",
    display_units.INDEX,
    section=AIR,
    source=TAYLOR_1,
    axis="speed",
    headline="most",
    means="How near the air through the intake valves comes to the speed of sound; above about 0.6 filling falls off.",
    formula=r"Z = \frac{1}{z} \left( \frac{B}{D_v} \right)^2 \frac{S_p}{C_i \, a}",
    symbols=(("S_p", "mean piston speed", "m/s"), ("a", "speed of sound at the inlet's temperature", "m/s")),
    working="1 / {intake_valves} × ({bore} / {intake_valve_diameter})² × {mean_piston_speed}"
    " / ({mean_flow_coefficient} × a({air_temperature}))",
    validity="poppet valves; flow coefficient on the head's area, meaned over a lift that rises and falls as a half sine",
)
def inlet_mach_index(
    bore: Value,
    intake_valve_diameter: Value,
    intake_valves: Value,
    mean_piston_speed: Value,
    mean_flow_coefficient: Value,
    air_temperature: Value,
) -> Value:
    """Taylor's inlet Mach index [1]."""
    sound = air.speed_of_sound(STANDARD_ATMOSPHERE, air_temperature)
    return breathing.inlet_mach_index(
        bore, intake_valve_diameter, intake_valves, mean_piston_speed, mean_flow_coefficient, sound
    )


@figure(
    "head_flow_ceiling",
    "What the heads could support",
    display_units.POWER,
    section=AIR,
    source=COMMON_PRACTICE,
    means="A rule of thumb for the power these heads could feed if everything else were right.",
    formula=r"0.257 \; Q_{28} \, N",
    symbols=(("Q_{28}", "intake flow at full lift and 28 inH2O", "cfm"),),
    working="{power_per_flow} × {port_flow} × {cylinders}",
    validity="four-strokes on petrol, without boost; a rule of thumb, good to a tenth at best",
)
def head_flow_ceiling(port_flow: Value, cylinders: Value, power_per_flow: Value) -> Value:
    """Power the heads could support [W]."""
    return breathing.head_flow_ceiling(port_flow, round(float(np.mean(cylinders))), power_per_flow)


@figure(
    "injector_duty",
    "Injector duty",
    display_units.WHOLE_PERCENT,
    section=AIR,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="most",
    means="For how much of the time the injectors stand open at peak power: above 85 % there is little left.",
    formula=r"\frac{\dot m_f}{k \, \dot m_i \sqrt{p / p_r}} \quad \mathrm{or} \quad t_i \, n \, i / r",
    working="{fuel_at_peak_power} / ({injectors} × {injector_flow} × √({fuel_pressure} / {injector_pressure}))",
    validity="fuel flow as logged at peak power; pressure across the injector taken as the fuel pressure; without a fuel "
    "flow, the injector pulse as logged, the time it takes to open counted in",
)
def injector_duty(
    fuel_at_peak_power: Value, injector_flow: Value, injectors: Value, fuel_pressure: Value, injector_pressure: Value
) -> Value:
    """Share of the time the injectors stand open at peak power [1]."""
    flow = breathing.flow_at_depression(injector_flow, injector_pressure, fuel_pressure)
    return breathing.injector_duty(fuel_at_peak_power, flow, round(float(np.mean(injectors))))


@alternative("injector_duty", working="{fuel_at_peak_power} / ({injectors} × {injector_flow}), at the rated pressure")
def injector_duty_as_rated(fuel_at_peak_power: Value, injector_flow: Value, injectors: Value) -> Value:
    """Share of the time the injectors stand open at the pressure of their rating [1]."""
    return breathing.injector_duty(fuel_at_peak_power, injector_flow, round(float(np.mean(injectors))))


@alternative(
    "injector_duty",
    working="{pulse_at_peak_power} × {speed_of_peak_power} × {injector_pulses} / {revolutions_per_cycle}",
)
def injector_duty_from_pulse(
    pulse_at_peak_power: Value, speed_of_peak_power: Value, injector_pulses: Value, revolutions_per_cycle: Value
) -> Value:
    """Share of the time the injectors stand open at peak power, from the length of their pulse [1]."""
    often = np.asarray(injector_pulses) / np.asarray(revolutions_per_cycle)
    return breathing.injector_duty_from_pulse(pulse_at_peak_power, speed_of_peak_power, unwrap_scalar(often))
