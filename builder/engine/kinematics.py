"""Where the piston is, how fast it moves and how hard it is accelerated: the exact slider-crank.

``theta`` is the crank angle after TDC [rad], where TDC is the piston's own highest point (as a piston stop
finds it), so that position and speed are zero at theta = 0 with or without pin offset. ``stroke`` is twice
the crank throw. Position, speed and acceleration are positive away from the cylinder head.

``pin_offset`` [m] is the distance from the cylinder axis to the pin, positive towards the major thrust side
(the side the piston is pressed against on the power stroke), negative towards the other. An offset of the
whole cylinder from the crankshaft acts the same way and is added to it.

Source: Heywood, Internal Combustion Engine Fundamentals, ch. 2; the offset follows from the same triangle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine.validation import Array, Value, reject_if, require_not_negative, require_positive, unwrap_scalar


@dataclass(frozen=True, slots=True, eq=False)
class _Triangle:
    """The slider-crank at given angles: lengths [m] along and across the cylinder axis."""

    across: Array  # crankpin from the crankshaft's center, across the axis
    along: Array  # crankpin from the crankshaft's center, along the axis
    lean: Array  # crankpin from the piston pin, across the axis
    height: Array  # piston pin above the crankpin, along the axis

    @property
    def first(self) -> Array:
        """Return the change of position with angle [m/rad]."""
        return self.across + self.lean * self.along / self.height

    @property
    def second(self) -> Array:
        """Return the change of :attr:`first` with angle [m/rad2]."""
        slope = self.along / self.height
        return (
            self.along
            + slope * self.along
            - self.lean * self.across / self.height
            + (self.lean * slope) ** 2 / self.height
        )


def _check(stroke: Value, rod: Value, pin_offset: Value) -> None:
    require_positive(stroke=stroke, rod=rod)
    reject_if(
        np.asarray(rod) <= np.asarray(stroke) / 2 + np.abs(pin_offset),
        "the rod is too short for the stroke: center to center it must be longer than half the stroke"
        " (plus any pin offset), or the crank cannot turn",
        "rod",
        "stroke",
        "pin_offset",
    )


def _triangle(theta: Value, stroke: Value, rod: Value, pin_offset: Value) -> _Triangle:
    throw, length, offset = np.asarray(stroke) / 2, np.asarray(rod), np.asarray(pin_offset)
    # With an offset the piston tops out when crank and rod lie in line, a little away from upright.
    angle = np.asarray(theta) - np.arcsin(offset / (length + throw))
    across, along = throw * np.sin(angle), throw * np.cos(angle)
    lean = across + offset
    return _Triangle(across, along, lean, np.sqrt(length * length - lean * lean))


def _top(stroke: Value, rod: Value, pin_offset: Value) -> Array:
    reach = np.asarray(rod) + np.asarray(stroke) / 2
    return np.asarray(np.sqrt(reach * reach - np.asarray(pin_offset) ** 2))


def piston_position(theta: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0) -> Value:
    """Return the distance of the piston below its TDC [m].

    Shapes: all inputs broadcast together. theta [rad], the rest [m]. Raises ValueError if the crank cannot
    turn (rod no longer than half the stroke plus pin offset). Source: Heywood ch. 2.
    """
    _check(stroke, rod, pin_offset)
    triangle = _triangle(theta, stroke, rod, pin_offset)
    return unwrap_scalar(_top(stroke, rod, pin_offset) - triangle.along - triangle.height)


def piston_speed(theta: Value, stroke: Value, rod: Value, speed: Value, pin_offset: Value = 0.0) -> Value:
    """Return the speed of the piston [m/s], positive on the way down.

    Shapes: all inputs broadcast together. theta [rad], stroke, rod and pin_offset [m], speed [rev/s].
    Raises ValueError if the crank cannot turn. Range: steady speed. Source: Heywood ch. 2.
    """
    _check(stroke, rod, pin_offset)
    return unwrap_scalar(_triangle(theta, stroke, rod, pin_offset).first * (2 * np.pi * np.asarray(speed)))


def piston_acceleration(theta: Value, stroke: Value, rod: Value, speed: Value, pin_offset: Value = 0.0) -> Value:
    """Return the acceleration of the piston [m/s2], positive away from the head (so greatest near TDC).

    Shapes: all inputs broadcast together. theta [rad], stroke, rod and pin_offset [m], speed [rev/s].
    Raises ValueError if the crank cannot turn. Range: steady speed. Source: Heywood ch. 2.
    """
    _check(stroke, rod, pin_offset)
    return unwrap_scalar(_triangle(theta, stroke, rod, pin_offset).second * (2 * np.pi * np.asarray(speed)) ** 2)


def cylinder_volume(
    theta: Value, bore: Value, stroke: Value, rod: Value, clearance_volume: Value, pin_offset: Value = 0.0
) -> Value:
    """Return the volume above the piston [m3] at a crank angle.

    Shapes: all inputs broadcast together. theta [rad], bore, stroke, rod and pin_offset [m],
    clearance_volume [m3]. Raises ValueError for impossible geometry. Source: Heywood ch. 2.
    """
    require_positive(bore=bore, clearance_volume=clearance_volume)
    position = piston_position(theta, stroke, rod, pin_offset)
    return unwrap_scalar(np.asarray(clearance_volume) + np.pi / 4 * np.asarray(bore) ** 2 * position)


def crank_angle(position: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0, *, rising: bool = False) -> Value:
    """Return the crank angle after TDC [rad] at which the piston is a distance below its TDC: down, or ``rising``.

    Shapes: all inputs [m] broadcast together; the inverse of :func:`piston_position`, exact. Raises ValueError if
    the crank cannot turn, or where the piston never comes: above TDC or below BDC. Source: geometry.
    """
    _check(stroke, rod, pin_offset)
    throw, length, offset = np.asarray(stroke) / 2, np.asarray(rod), np.asarray(pin_offset)
    height = _top(stroke, rod, pin_offset) - np.asarray(position)
    distance = np.sqrt(height * height + offset * offset)
    cosine = (throw * throw + distance * distance - length * length) / (2 * throw * distance)
    outside = (np.asarray(position) < 0) | (cosine < -1 - 1e-12)
    reject_if(outside, "the piston never comes to this height: it is above TDC or below BDC", "position")
    swing = np.arccos(np.clip(cosine, -1, 1))
    pin = np.arctan2(-offset, height) + np.arcsin(offset / (length + throw))
    return unwrap_scalar(pin - swing + 2 * np.pi if rising else pin + swing)


def bottom_dead_centre(stroke: Value, rod: Value, pin_offset: Value = 0.0) -> Value:
    """Return the crank angle after TDC [rad] at which the piston is lowest: pi, unless the pin is offset.

    Shapes: all inputs [m] broadcast together. Raises ValueError if the crank cannot turn. Source: geometry.
    """
    _check(stroke, rod, pin_offset)
    throw, length, offset = np.asarray(stroke) / 2, np.asarray(rod), np.asarray(pin_offset)
    return unwrap_scalar(np.pi - np.arcsin(offset / (length - throw)) + np.arcsin(offset / (length + throw)))


def peak_speed_angle(stroke: Value, rod: Value, pin_offset: Value = 0.0) -> Value:
    """Return the crank angle after TDC [rad] at which the piston moves fastest on its way down.

    Shapes: all inputs [m] broadcast together. Raises ValueError if the crank cannot turn.
    Source: the zero of the acceleration between TDC and BDC (geometry).
    """
    _check(stroke, rod, pin_offset)
    shape = np.broadcast_shapes(np.shape(stroke), np.shape(rod), np.shape(pin_offset))
    last = np.broadcast_to(np.asarray(bottom_dead_centre(stroke, rod, pin_offset)), shape)
    # Crank and rod are nearly square to each other there: a start from which a few secants are enough.
    before = np.broadcast_to(np.arctan2(2 * np.asarray(rod), np.asarray(stroke)), shape)
    angle, rise_before = before + 0.02, _triangle(before, stroke, rod, pin_offset).second
    for _ in range(8):
        rise = _triangle(angle, stroke, rod, pin_offset).second
        step = np.where(rise == rise_before, 0.0, angle - before)
        slope = np.where(rise == rise_before, 1.0, rise - rise_before)
        before, rise_before, angle = angle, rise, np.clip(angle - rise * step / slope, 1e-6, last - 1e-6)
        if np.all(np.abs(angle - before) < 1e-9):
            break  # the next step would be smaller than the last bit of a float
    if np.all(np.abs(rise) < 1e-8 * np.asarray(stroke)):
        return unwrap_scalar(angle)
    low, high = np.zeros(shape), last
    for _ in range(54):  # halving pi this often reaches the last bit of a float
        middle = (low + high) / 2
        still_gaining = _triangle(middle, stroke, rod, pin_offset).second > 0
        low, high = np.where(still_gaining, middle, low), np.where(still_gaining, high, middle)
    return unwrap_scalar((low + high) / 2)


def mean_piston_speed(stroke: Value, speed: Value) -> Value:
    """Return the mean piston speed [m/s] = 2 S n.

    Shapes: inputs broadcast together. stroke [m], speed [rev/s]. Raises ValueError for a stroke of zero or
    less or a negative speed. Source: Heywood ch. 2.
    """
    require_positive(stroke=stroke)
    require_not_negative(speed=speed)
    return unwrap_scalar(2 * np.asarray(stroke) * speed)


def inertia_force_tdc(reciprocating_mass: Value, stroke: Value, rod: Value, speed: Value) -> Value:
    """Return the force needed to turn the reciprocating mass round at TDC [N] = m (S/2) w^2 (1 + S/(2L)).

    Shapes: inputs broadcast together. reciprocating_mass [kg], stroke and rod [m], speed [rev/s].
    Raises ValueError for impossible geometry or a mass of zero or less. Range: no pin offset; gas force,
    which opposes it on the firing stroke, is left out. Source: Taylor vol. 2.
    """
    require_positive(reciprocating_mass=reciprocating_mass)
    _check(stroke, rod, 0.0)
    throw = np.asarray(stroke) / 2
    omega = 2 * np.pi * np.asarray(speed)
    return unwrap_scalar(np.asarray(reciprocating_mass) * throw * omega**2 * (1 + throw / np.asarray(rod)))


def balance_grade(imbalance: Value, mass: Value, speed: Value) -> Value:
    """Return the balance quality of a rotor [m/s] = (U/m) omega: eccentricity of its mass times angular speed.

    Shapes: imbalance of all planes together, mass times radius [kg m], mass of the rotor [kg] and speed [rev/s]
    broadcast together. Raises ValueError for a mass of zero or less, or a negative imbalance or speed. Range: rigid
    rotors; planes whose imbalances point the same way, which is the worst case. Source: ISO 21940-11, from memory
    (its grade G is this number in mm/s).
    """
    require_positive(mass=mass)
    require_not_negative(imbalance=imbalance, speed=speed)
    return unwrap_scalar(np.asarray(imbalance) / np.asarray(mass) * (2 * np.pi * np.asarray(speed)))


def bobweight(
    rotating_mass: Value,
    reciprocating_mass: Value,
    rods_per_crankpin: int,
    balance_factor: float,
    oil_mass: Value = 0.0,
) -> Value:
    """Return the mass to hang on each crankpin for balancing [kg].

    rotating_mass (big end, its shells) and reciprocating_mass (piston, pin, rings, locks, small end) are
    per rod [kg]; oil_mass [kg] is the allowance for the oil in one crankpin; balance_factor [1] is the part
    of the reciprocating mass to be balanced (a 90 degree V8 is commonly balanced at 0.5).
    Shapes: masses broadcast together. Raises ValueError for a mass of zero or less, no rods, or a factor
    outside 0..1. Source: common practice, no source.
    """
    require_positive(
        rotating_mass=rotating_mass, reciprocating_mass=reciprocating_mass, rods_per_crankpin=rods_per_crankpin
    )
    require_not_negative(oil_mass=oil_mass)
    reject_if(not 0 <= balance_factor <= 1, "the balance factor must lie between 0 and 1", "balance_factor")
    per_rod = np.asarray(rotating_mass) + balance_factor * np.asarray(reciprocating_mass)
    return unwrap_scalar(rods_per_crankpin * per_rod + oil_mass)
