"""What the bolts of a connecting rod have to hold at speed.

The load is what would part cap and rod at TDC with no gas pressure on the piston (in a four-stroke: between exhaust and
intake stroke). The bolts' preload must be larger; the manufacturer's stretch or torque comes first.

Source: Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 2 (inertia forces).
"""

from __future__ import annotations

import numpy as np

from builder.engine.kinematics import inertia_force_tdc
from builder.engine.validation import Value, reject_if, require_not_negative, require_positive, unwrap_scalar


def rod_bolt_load(
    reciprocating_mass: Value,
    big_end_mass: Value,
    stroke: Value,
    rod: Value,
    speed: Value,
    bolts: int,
    cap_mass: Value = 0.0,
) -> Value:
    """Return the load on each bolt of a rod at TDC [N] from the masses that pull at the cap.

    The reciprocating mass counts with the piston's acceleration at TDC, the rotating mass of the big end less its cap
    with that of the crankpin. Shapes: masses [kg], stroke and rod [m] and speed [rev/s] broadcast together; ``bolts``
    of one rod. Raises ValueError for a mass, stroke or rod of zero or less, a cap heavier than the big end, or no bolt.
    Range: steady speed, no gas load, load shared evenly. Source: Taylor vol. 2.
    """
    require_positive(big_end_mass=big_end_mass)
    require_not_negative(cap_mass=cap_mass)
    if bolts < 1:
        raise ValueError("a rod with a cap has at least one bolt")
    heavier = np.asarray(cap_mass) >= np.asarray(big_end_mass)
    reject_if(heavier, "the cap is part of the big end and cannot be heavier", "cap_mass", "big_end_mass")
    rotating = (np.asarray(big_end_mass) - cap_mass) * np.asarray(stroke) / 2 * (2 * np.pi * np.asarray(speed)) ** 2
    return unwrap_scalar((inertia_force_tdc(reciprocating_mass, stroke, rod, speed) + rotating) / bolts)
