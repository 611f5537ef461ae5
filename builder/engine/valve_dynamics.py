"""What valve springs and valves do at speed: surge of the spring, acceleration of the valve, the force it takes.

Sources: Shigley, Mechanical Engineering Design, springs (surge); Taylor, The Internal-Combustion Engine in Theory and
Practice, vol. 2 (masses of the valve train).
"""

from __future__ import annotations

import numpy as np

from builder.engine.validation import Value, reject_if, require_not_negative, require_positive, unwrap_scalar


def active_spring_mass(mass: Value, active_coils: Value, total_coils: Value) -> Value:
    """Return the mass of the coils that move [kg] = mass * active/total coils.

    Shapes: mass [kg] and coils [1] broadcast together. Raises ValueError for an input of zero or less, or more
    active coils than there are. Range: wire of one thickness. Source: geometry.
    """
    require_positive(mass=mass, active_coils=active_coils, total_coils=total_coils)
    reject_if(
        np.asarray(active_coils) > np.asarray(total_coils),
        "there cannot be more active coils than coils",
        "active_coils",
        "total_coils",
    )
    return unwrap_scalar(np.asarray(mass) * active_coils / np.asarray(total_coils))


def surge_frequency(rate: Value, active_mass: Value) -> Value:
    """Return the lowest natural frequency of a spring between two plates [Hz] = sqrt(rate/active mass)/2.

    Shapes: rate [N/m] and active_mass [kg] broadcast together. Raises ValueError for an input of zero or less.
    Range: constant rate and wire, no damper. Source: Shigley, springs, critical frequency of helical springs.
    """
    require_positive(rate=rate, active_mass=active_mass)
    return unwrap_scalar(np.sqrt(np.asarray(rate) / np.asarray(active_mass)) / 2)


def surge_order(frequency: Value, speed: Value, revolutions_per_cycle: Value = 2) -> Value:
    """Return the surge frequency over the speed of the cam [1].

    Shapes: frequency [Hz], speed of the crank [rev/s] and its revolutions_per_cycle broadcast together. Raises
    ValueError for an input of zero or less. Range: a cam that turns once in a cycle. Source: definition.
    """
    require_positive(frequency=frequency, speed=speed, revolutions_per_cycle=revolutions_per_cycle)
    return unwrap_scalar(np.asarray(frequency) * revolutions_per_cycle / np.asarray(speed))


def valve_train_mass(
    valve: Value, retainer: Value, spring: Value, rocker_ratio: Value, rocker: Value = 0.0, lifter_side: Value = 0.0
) -> Value:
    """Return the mass that the spring has to move [kg]: valve + retainer + spring/3 + rocker + lifter side/ratio^2.

    Shapes: masses [kg], of which ``rocker`` is already reduced to the valve's tip, and rocker_ratio [1] broadcast
    together. Raises ValueError for a valve, retainer, spring or ratio of zero or less, or another mass below zero.
    Range: rigid valve train. Source: Taylor vol. 2; a third of a spring, from its kinetic energy.
    """
    require_positive(valve=valve, retainer=retainer, spring=spring, rocker_ratio=rocker_ratio)
    require_not_negative(rocker=rocker, lifter_side=lifter_side)
    reduced = np.asarray(lifter_side) / np.asarray(rocker_ratio) ** 2
    return unwrap_scalar(np.asarray(valve) + retainer + np.asarray(spring) / 3 + rocker + reduced)


def valve_acceleration(curvature: Value, speed: Value) -> Value:
    """Return the acceleration of a valve [m/s2] from the curvature of its lift over the crank angle.

    Shapes: curvature [m/deg2] and speed [rev/s] broadcast together. Raises ValueError for a speed of zero or less.
    Source: geometry.
    """
    require_positive(speed=speed)
    return unwrap_scalar(np.asarray(curvature) * (360 * np.asarray(speed)) ** 2)
