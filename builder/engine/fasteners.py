"""Preload, stretch, and whether a torque is plausible for the size of the fastener.

A torque says little about the clamping force: most of it goes into friction. Every preload from a torque is
an estimate with a wide uncertainty, meant for a record, not for choosing a torque. The fastener maker's
sheet decides how a joint is tightened.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from builder.engine.validation import Value, reject_if, require_not_negative, require_positive, unwrap_scalar

PRELOAD_SPREAD = MappingProxyType({"feel": 0.35, "torque": 0.25, "angle": 0.15, "stretch": 0.05})
"""How far preload may lie from its estimate, as a part of it, by the way the joint was tightened.

Source: Machinery's Handbook, accuracy of bolt preload application methods (from memory).
"""

STEEL_MODULUS = 207e9
"""Young's modulus of steel [Pa]. Source: Shigley, Mechanical Engineering Design."""

_THREAD_HALF_ANGLE = np.radians(30)  # of both the ISO metric and the unified thread
_COLLAR_DIAMETER = 1.25  # mean diameter of head or nut face over nominal diameter (Shigley)

# Stress area over diameter squared, for coarse to fine threads of 6 to 20 mm (ISO 898-1, ASME B1.1).
_STRESS_AREA_SHAPE = (0.50, 0.64)
# Nut factor * stress: a soft bolt barely snugged with oil, and the strongest alloy fully tightened dry.
_LOWEST_TORQUE_STRESS = 0.12 * 150e6
_HIGHEST_TORQUE_STRESS = 0.20 * 1100e6


@dataclass(frozen=True, slots=True)
class TorqueBand:
    """From the least to the most, both included."""

    minimum: Value
    maximum: Value


def fastener_preload(torque: Value, nut_factor: Value, diameter: Value) -> Value:
    """Return the clamping force of a fastener [N], estimated = T/(K d).

    Shapes: torque [N m], nut_factor [1] and nominal diameter [m] broadcast together. Raises ValueError for
    a nut factor or diameter of zero or less, or a negative torque. Range: within the elastic part; see
    ``PRELOAD_SPREAD`` for how far off it may be. Source: Machinery's Handbook; Shigley.
    """
    require_not_negative(torque=torque)
    require_positive(nut_factor=nut_factor, diameter=diameter)
    return unwrap_scalar(np.asarray(torque) / (np.asarray(nut_factor) * np.asarray(diameter)))


def nut_factor(diameter: Value, pitch: Value, thread_friction: Value, face_friction: Value) -> Value:
    """Return the nut factor K [1] of a 60 degree thread from its friction coefficients.

    = dm/(2d) (tan l + f sec a)/(1 - f tan l sec a) + 0.625 fc, with mean diameter dm = d - 0.6495 p, lead
    angle l and half the thread angle a. Shapes: diameter and pitch [m], friction [1] broadcast together.
    Raises ValueError for a dimension of zero or less, a negative friction, so much friction that the thread
    cannot turn, or a pitch too coarse for the diameter. Range: a plain hexagon or washer face (mean diameter
    1.25 d). Source: Shigley, power screws and bolt torque.
    """
    require_positive(diameter=diameter, pitch=pitch)
    require_not_negative(thread_friction=thread_friction, face_friction=face_friction)
    mean = np.asarray(diameter) - 0.649519 * np.asarray(pitch)
    reject_if(mean <= 0, "the pitch is too coarse for the diameter", "pitch", "diameter")
    lead = np.asarray(pitch) / (np.pi * mean)
    grip = np.asarray(thread_friction) / np.cos(_THREAD_HALF_ANGLE)
    reject_if(grip * lead >= 1, "with so much friction the thread cannot turn at all", "thread_friction")
    threads = mean / (2 * np.asarray(diameter)) * (lead + grip) / (1 - grip * lead)
    return unwrap_scalar(threads + _COLLAR_DIAMETER / 2 * np.asarray(face_friction))


def tensile_stress_area(diameter: Value, pitch: Value, thread: Literal["metric", "unified"] = "metric") -> Value:
    """Return the area of a threaded part that carries the load [m2] = pi/4 (d - c p)^2.

    c is 0.9382 for ISO metric and 0.9743 for unified threads, whose roots are cut deeper. Shapes: diameter
    and pitch [m] broadcast together. Raises ValueError for a dimension of zero or less, or a pitch too
    coarse for the diameter. Source: ISO 898-1 (metric), ASME B1.1 (unified).
    """
    require_positive(diameter=diameter, pitch=pitch)
    core = np.asarray(diameter) - (0.9382 if thread == "metric" else 0.9743) * np.asarray(pitch)
    reject_if(core <= 0, "the pitch is too coarse for the diameter", "pitch", "diameter")
    return unwrap_scalar(np.pi / 4 * core**2)


def preload_from_stretch(
    stretch: Value,
    shank_length: Value,
    shank_diameter: Value,
    thread_length: Value,
    stress_area: Value,
    modulus: float = STEEL_MODULUS,
) -> Value:
    """Return the clamping force of a bolt [N] from its measured stretch = E d/(lS/AS + lT/AT).

    The plain shank and the thread that stretches with it are springs in a row; a length of zero leaves one
    of them out. Shapes: stretch, shank_length, shank_diameter and thread_length [m] and stress_area [m2] (see
    :func:`tensile_stress_area`) broadcast together; modulus [Pa]. Raises ValueError for a negative stretch or
    length, a diameter, area or modulus of zero or less, or a bolt of no length. Range: below yield; steel
    unless another modulus is given. Source: Shigley, fastener stiffness.
    """
    require_not_negative(stretch=stretch, shank_length=shank_length, thread_length=thread_length)
    require_positive(shank_diameter=shank_diameter, stress_area=stress_area, modulus=modulus)
    shank = np.asarray(shank_length) / (np.pi / 4 * np.asarray(shank_diameter) ** 2)
    slenderness = shank + np.asarray(thread_length) / np.asarray(stress_area)
    reject_if(slenderness == 0, "a bolt of no length does not stretch", "shank_length", "thread_length")
    return unwrap_scalar(modulus * np.asarray(stretch) / slenderness)


def plausible_torque(diameter: Value) -> TorqueBand:
    """Return the torques [N m] that a fastener of this size could be given, from the softest to the strongest.

    A wide band, over strength, thread and lubricant: what lies outside is a mistake in writing or in the unit,
    what lies inside need not be right. Shape: as the nominal diameter [m]. Raises ValueError for a diameter
    of zero or less. Range: solid screws, bolts and studs of 5 to 25 mm; not for hollow or sealing threads
    (spark plugs, pipe plugs, banjo bolts), nor for set screws.
    Source: T = K F d; stress areas of ISO 898-1; the stresses are common practice, no source.
    """
    require_positive(diameter=diameter)
    cube = np.asarray(diameter) ** 3
    slim, full = _STRESS_AREA_SHAPE
    return TorqueBand(
        unwrap_scalar(_LOWEST_TORQUE_STRESS * slim * cube), unwrap_scalar(_HIGHEST_TORQUE_STRESS * full * cube)
    )


@dataclass(frozen=True, slots=True)
class TorqueCheck:
    """Whether a torque suits its fastener; ``inch_foot_mix_up`` where a twelfth or twelve times of it would."""

    verdict: Literal["plausible", "too high", "too low"]
    inch_foot_mix_up: bool = False


def check_torque(torque: float, diameter: float) -> TorqueCheck:
    """Return whether a torque [N m] is plausible for a fastener of a nominal diameter [m].

    With ``inch_foot_mix_up``, "too low" means that the number would be plausible in lbf ft where lbf in was
    written, and "too high" the reverse.
    Shape: single values. Raises ValueError for a torque or diameter of zero or less.
    Range and source: as :func:`plausible_torque`.
    """
    require_positive(torque=torque)
    band = plausible_torque(diameter)

    def is_plausible(value: float) -> bool:
        return bool(band.minimum <= value <= band.maximum)

    if is_plausible(torque):
        return TorqueCheck("plausible")
    if torque > band.maximum:
        return TorqueCheck("too high", inch_foot_mix_up=is_plausible(torque / 12))
    return TorqueCheck("too low", inch_foot_mix_up=is_plausible(torque * 12))
