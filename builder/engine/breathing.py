"""How much air an engine asks for, and how well ports, valves, carburetor and injectors can give it.

Engine speed n is in [rev/s], lengths [m], areas [m2], volume flows [m3/s], mass flows [kg/s], pressures [Pa].
All functions take single values or arrays that broadcast together. ``revolutions_per_cycle`` is 2 for a
four-stroke, 1 for a two-stroke.

Sources: Heywood, Internal Combustion Engine Fundamentals, ch. 2 and 6; Taylor, The Internal-Combustion Engine
in Theory and Practice, vol. 1 ch. 6; Bernoulli's equation; where it says so, common practice, no source.
"""

from __future__ import annotations

import numpy as np

from builder.engine.constants import CUBIC_FOOT_PER_MINUTE, GAS_CONSTANT_DRY_AIR, MECHANICAL_HORSEPOWER
from builder.engine.validation import Value, require_not_negative, require_positive, unwrap_scalar

#: Power a cylinder head could support for each cfm of one port's flow at 28 inH2O [hp]: common practice, no source;
#: naturally aspirated four-strokes on gasoline.
HORSEPOWER_PER_CFM = 0.257


def air_demand(displacement: Value, speed: Value, efficiency: Value = 1.0, revolutions_per_cycle: int = 2) -> Value:
    """Return the volume of intake air the engine asks for [m3/s] = VE Vd n/nR.

    Shapes: displacement of the whole engine [m3], speed [rev/s], volumetric efficiency [-] broadcast
    together. Raises ValueError for a displacement of zero or less, or a negative speed or efficiency.
    Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement, revolutions_per_cycle=revolutions_per_cycle)
    require_not_negative(speed=speed, efficiency=efficiency)
    cycles = np.asarray(speed) / revolutions_per_cycle
    return unwrap_scalar(np.asarray(efficiency) * np.asarray(displacement) * cycles)


def volumetric_efficiency(
    air_flow: Value, density: Value, displacement: Value, speed: Value, revolutions_per_cycle: int = 2
) -> Value:
    """Return the air taken in over what the swept volume would hold at intake density [-] = ma/(rho Vd n/nR).

    Shapes: air mass flow [kg/s], air density [kg/m3], displacement [m3] and
    speed [rev/s] broadcast together. Raises ValueError for a density, displacement or speed of zero or less,
    or a negative flow. Range: any. Source: Heywood ch. 2.
    """
    require_not_negative(air_flow=air_flow)
    require_positive(density=density, speed=speed)
    demand = air_demand(displacement, speed, 1.0, revolutions_per_cycle)
    return unwrap_scalar(np.asarray(air_flow) / (np.asarray(density) * np.asarray(demand)))


def flow_at_depression(flow: Value, depression: Value, target_depression: Value) -> Value:
    """Return a flow measured at one depression, converted to another: Q sqrt(dp2/dp1), same unit as given.

    Shapes: flow, the depression it was measured at and the target depression [Pa] broadcast together; injector flow
    moves between fuel pressures the same way. Raises ValueError for a negative flow or a depression of zero
    or less. Range: depressions small against the barometer (to about 10 kPa). Source: Bernoulli.
    """
    require_not_negative(flow=flow)
    require_positive(depression=depression, target_depression=target_depression)
    return unwrap_scalar(np.asarray(flow) * np.sqrt(np.asarray(target_depression) / np.asarray(depression)))


def choked_air_flow(area: Value, pressure: Value, temperature: Value, coefficient: Value = 1.0) -> Value:
    """Return the mass flow of air through an opening at the speed of sound [kg/s]: no engine draws more through it.

    That is Cd A p sqrt(k / (R T)) (2 / (k + 1))^((k + 1) / (2 (k - 1))) with k = 1.4; a discharge coefficient Cd of 1
    is before any loss. Shapes: area [m2], pressure [Pa] and temperature [K] of the air at rest before it and the
    coefficient [-] broadcast together. Raises ValueError for a value of zero or less. Range: dry air near room
    temperature. Source: Heywood, appendix C (compressible flow).
    """
    require_positive(area=area, pressure=pressure, temperature=temperature, coefficient=coefficient)
    k = 1.4
    critical = np.sqrt(k) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    return unwrap_scalar(
        np.asarray(coefficient) * area * pressure * critical / np.sqrt(GAS_CONSTANT_DRY_AIR * np.asarray(temperature))
    )


def induction_headroom(rated_flow: Value, rated_depression: Value, demand: Value, depression: Value) -> Value:
    """Return the rated flow of a carburetor or throttle over the engine's demand, both at the same depression [-].

    The rating is moved to ``depression``, the one the engine may see at full throttle. Above 1 there is
    headroom; at 1 the engine pulls exactly that depression. Shapes: flows [m3/s] and depressions [Pa]
    broadcast together. Raises ValueError for a depression or demand of zero or less, or a negative rating.
    Source: common practice, no source; Bernoulli.
    """
    require_positive(demand=demand)
    return unwrap_scalar(np.asarray(flow_at_depression(rated_flow, rated_depression, depression)) / np.asarray(demand))


def discharge_coefficient(flow: Value, area: Value, depression: Value, density: Value) -> Value:
    """Return the bench flow over what a perfect opening of that area would pass [-] = Q/(A sqrt(2 dp/rho)).

    Shapes: flow [m3/s], area [m2] (the curtain area pi Dv L for a valve), depression [Pa] and air density
    [kg/m3] broadcast together. Raises ValueError unless area, depression and density are above zero.
    Range: incompressible, depressions to about 10 kPa. Source: Heywood ch. 6.
    """
    require_not_negative(flow=flow)
    require_positive(area=area, depression=depression, density=density)
    velocity = np.sqrt(2 * np.asarray(depression) / np.asarray(density))
    return unwrap_scalar(np.asarray(flow) / (np.asarray(area) * velocity))


def mean_port_velocity(bore: Value, mean_piston_speed: Value, port_area: Value) -> Value:
    """Return the mean gas velocity in one cylinder's port [m/s] = piston area * mean piston speed / port area.

    Shapes: bore [m], mean piston speed [m/s] and least port area of the cylinder [m2] (all its intake ports
    together) broadcast together. Raises ValueError for a bore or area of zero or less. Source: continuity.
    """
    require_positive(bore=bore, port_area=port_area)
    require_not_negative(mean_piston_speed=mean_piston_speed)
    return unwrap_scalar(np.pi / 4 * np.asarray(bore) ** 2 * np.asarray(mean_piston_speed) / np.asarray(port_area))


def inlet_mach_index(
    bore: Value,
    valve_diameter: Value,
    valves: Value,
    mean_piston_speed: Value,
    flow_coefficient: Value,
    speed_of_sound: Value,
) -> Value:
    """Return the Taylor's inlet Mach index [-] Z = (B/Dv)^2 Sp/(Ci a), over the number of intake valves of a cylinder.

    Shapes: bore and valve head diameter [m], intake valves per cylinder, mean piston speed [m/s], mean inlet
    flow coefficient [-] (referred to the valve head area, averaged over the lift), speed of sound [m/s]
    broadcast together. Volumetric efficiency falls off above about Z = 0.6. Raises ValueError for an input of
    zero or less (the piston may stand still). Source: Taylor, vol. 1, ch. 6.
    """
    require_positive(bore=bore, valve_diameter=valve_diameter, valves=valves)
    require_positive(flow_coefficient=flow_coefficient, speed_of_sound=speed_of_sound)
    require_not_negative(mean_piston_speed=mean_piston_speed)
    areas = (np.asarray(bore) / np.asarray(valve_diameter)) ** 2 / np.asarray(valves)
    return unwrap_scalar(
        areas * np.asarray(mean_piston_speed) / (np.asarray(flow_coefficient) * np.asarray(speed_of_sound))
    )


def head_flow_ceiling(port_flow: Value, cylinders: int, horsepower_per_cfm: Value = HORSEPOWER_PER_CFM) -> Value:
    """Return the power that the heads could support if all else were right [W] = 0.257 hp per cfm at 28 inH2O, times N.

    Shapes: flow of one intake port at 28 inH2O [m3/s] (see :func:`flow_at_depression`) and the shop's own
    constant [hp/cfm] broadcast together. A rule of thumb, not a law. Raises ValueError for fewer than one
    cylinder, a negative flow or a constant of zero or less. Source: common practice, no source.
    """
    require_not_negative(port_flow=port_flow)
    require_positive(horsepower_per_cfm=horsepower_per_cfm)
    if cylinders < 1:
        raise ValueError("an engine has at least one cylinder")
    cfm = np.asarray(port_flow) / CUBIC_FOOT_PER_MINUTE
    return unwrap_scalar(np.asarray(horsepower_per_cfm) * cfm * cylinders * MECHANICAL_HORSEPOWER)


def injector_duty(fuel_flow: Value, injector_flow: Value, injectors: int) -> Value:
    """Return the share of the time the injectors must stand open [-] = fuel of the engine / what they all could pass.

    Shapes: fuel mass flow of the whole engine [kg/s] and flow of one injector held open at its fuel pressure
    [kg/s] broadcast together. Above 0.85 there is little left (common practice). Raises ValueError for fewer
    than one injector, a negative fuel flow or an injector flow of zero or less. Source: continuity.
    """
    require_not_negative(fuel_flow=fuel_flow)
    require_positive(injector_flow=injector_flow)
    if injectors < 1:
        raise ValueError("the injectors must be counted: 1, 2, 3, ...")
    return unwrap_scalar(np.asarray(fuel_flow) / (np.asarray(injector_flow) * injectors))


def injector_size_needed(fuel_flow: Value, injectors: int, duty: Value) -> Value:
    """Return the flow of one injector, held open, that gives an engine its fuel at a duty [kg/s].

    Shapes: fuel mass flow of the whole engine [kg/s] and duty [-] broadcast together. The inverse of
    :func:`injector_duty`. Raises ValueError for fewer than one injector, a negative fuel flow or a duty of zero or
    less. Source: continuity.
    """
    require_positive(duty=duty)
    return injector_duty(fuel_flow, duty, injectors)


def fuel_for_power(power: Value, fuel_per_energy: Value, heating_value: Value, reference_heating_value: float) -> Value:
    """Return the fuel that a power takes [kg/s] = P b H0/H.

    Shapes: power [W], fuel per energy [kg/J] of the reference fuel, and heating value [J/kg] broadcast together;
    reference_heating_value [J/kg] is that of the fuel that b was taken on. Raises ValueError for a negative power or
    anything else of zero or less. Range: the same efficiency on both fuels. Source: common practice, no source.
    """
    require_not_negative(power=power)
    require_positive(fuel_per_energy=fuel_per_energy, heating_value=heating_value)
    return unwrap_scalar(np.asarray(power) * fuel_per_energy * reference_heating_value / np.asarray(heating_value))


def injector_duty_from_pulse(pulse_width: Value, speed: Value, pulses_per_revolution: Value = 0.5) -> Value:
    """Return the share of the time an injector is open [-] = pulse width * n * pulses per revolution.

    Shapes: pulse width [s], speed [rev/s] and pulses of one injector per revolution [-] broadcast together:
    0.5 for once in a four-stroke cycle, 1 for once in every revolution. Raises ValueError for a negative
    pulse or speed, or no pulses. Range: above 1 the injector never closes. Source: arithmetic.
    """
    require_not_negative(pulse_width=pulse_width, speed=speed)
    require_positive(pulses_per_revolution=pulses_per_revolution)
    return unwrap_scalar(np.asarray(pulse_width) * np.asarray(speed) * np.asarray(pulses_per_revolution))
