"""Two-stroke ports: when the piston opens and closes them, how much they open, and what they trap.

Depths [m] are measured at the bore, down from the deck that the head or its gasket lies on. ``deck_clearance`` [m]
is the edge of the piston crown below that deck at TDC, negative when it stands proud, so a port at a depth is
uncovered when the crown is ``depth - deck_clearance`` below its TDC. Timing is in crank degrees [deg].

Source: exact slider-crank geometry (Heywood, Internal Combustion Engine Fundamentals, ch. 2); port terms are common
practice, no source.
"""

from __future__ import annotations

import numpy as np

from builder.engine.kinematics import bottom_dead_centre, crank_angle, cylinder_volume, piston_position
from builder.engine.validation import Array, Value, reject_if, require_positive, unwrap_scalar

ANGLE_STEP = 0.25
"""Step of the crank angle over which an open area is summed [deg]."""


def port_opens(roof: Value, deck_clearance: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0) -> Value:
    """Return the crank angle after TDC at which the crown uncovers a port's top edge on the way down [deg].

    Shapes: depth of the top edge ``roof``, deck clearance, stroke, rod and pin offset [m] broadcast together. Raises
    ValueError where the edge is outside the piston's travel. Source: geometry.
    """
    below = np.asarray(roof) - np.asarray(deck_clearance)
    return unwrap_scalar(np.degrees(crank_angle(unwrap_scalar(below), stroke, rod, pin_offset)))


def port_roof(opens: Value, deck_clearance: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0) -> Value:
    """Return the depth of a port's top edge below the deck [m] from the angle after TDC at which it opens [deg].

    Shapes: opening angle, deck clearance, stroke, rod and pin offset [m] broadcast together. Raises ValueError unless
    the angle is between 0 and 180 degrees. The inverse of :func:`port_opens`. Source: geometry.
    """
    angle = np.asarray(opens)
    reject_if((angle <= 0) | (angle >= 180), "a port opens between 0 and 180 degrees after TDC", "opens")
    travel = np.asarray(piston_position(unwrap_scalar(np.radians(angle)), stroke, rod, pin_offset))
    return unwrap_scalar(np.asarray(deck_clearance) + travel)


def skirt_opens(
    floor: Value, skirt_length: Value, deck_clearance: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0
) -> Value:
    """Return the crank angle before TDC at which the rising skirt uncovers the bottom edge of an intake port [deg].

    Shapes: depth of the bottom edge ``floor`` below the deck, skirt length from the edge of the crown on the intake
    side, deck clearance, stroke, rod and pin offset [m] broadcast together. Without a pin offset the port closes at
    the same angle after TDC. Raises ValueError where the skirt never uncovers it, or never covers it. Source: geometry.
    """
    require_positive(skirt_length=skirt_length)
    below = np.asarray(floor) - np.asarray(skirt_length) - np.asarray(deck_clearance)
    angle = crank_angle(unwrap_scalar(below), stroke, rod, pin_offset, rising=True)
    return unwrap_scalar(360 - np.degrees(angle))


def blowdown(exhaust_opens: Value, transfer_opens: Value) -> Value:
    """Return the crank angle from exhaust opening to transfer opening [deg].

    Shapes: both angles after TDC [deg] broadcast together. Negative where the transfer opens first, which no running
    engine has. Source: common practice, no source.
    """
    return unwrap_scalar(np.asarray(transfer_opens) - np.asarray(exhaust_opens))


def trapped_compression_ratio(
    bore: Value, stroke: Value, rod: Value, clearance_volume: Value, exhaust_closes: Value, pin_offset: Value = 0.0
) -> Value:
    """Return the volume trapped when the exhaust port closes, over the clearance volume [1].

    Shapes: bore, stroke, rod, pin offset [m], clearance volume [m3] and the angle before TDC at which the exhaust
    closes [deg] broadcast together. Raises ValueError for impossible geometry. Source: Heywood ch. 2 and 6.
    """
    closes = np.asarray(exhaust_closes)
    reject_if((closes <= 0) | (closes >= 180), "a port closes between 180 and 0 degrees before TDC", "exhaust_closes")
    theta = unwrap_scalar(np.radians(360 - closes))
    trapped = np.asarray(cylinder_volume(theta, bore, stroke, rod, clearance_volume, pin_offset))
    return unwrap_scalar(trapped / np.asarray(clearance_volume))


def crankcase_compression_ratio(swept_volume: Value, crankcase_volume: Value) -> Value:
    """Return the primary compression ratio [1] = (crankcase + swept)/crankcase.

    Shapes: swept volume of one cylinder and its crankcase volume with the piston at BDC, transfer ducts included [m3],
    broadcast together. Raises ValueError for a volume of zero or less. Source: common practice, no source.
    """
    require_positive(swept_volume=swept_volume, crankcase_volume=crankcase_volume)
    return unwrap_scalar(1 + np.asarray(swept_volume) / np.asarray(crankcase_volume))


def chordal_share(width: Value, bore: Value) -> Value:
    """Return a port's width, straight across, over the bore [1].

    Shapes: width and bore [m] broadcast together. Raises ValueError for a width above the bore. Source: geometry.
    """
    require_positive(width=width, bore=bore)
    reject_if(np.asarray(width) > np.asarray(bore), "a port cannot be wider than the bore", "width", "bore")
    return unwrap_scalar(np.asarray(width) / np.asarray(bore))


def open_height(
    theta: Value, roof: Value, floor: Value, deck_clearance: Value, stroke: Value, rod: Value, pin_offset: Value = 0.0
) -> Value:
    """Return how far a port is uncovered by the crown at a crank angle [m], from nothing to floor less roof.

    Shapes: theta [rad], depths, deck clearance, stroke, rod and pin offset [m] broadcast together. Raises ValueError
    where the floor is not below the roof. Source: geometry.
    """
    height = np.asarray(floor) - np.asarray(roof)
    reject_if(height <= 0, "the bottom edge of a port must be below its top edge", "floor", "roof")
    crown = np.asarray(deck_clearance) + np.asarray(piston_position(theta, stroke, rod, pin_offset))
    return unwrap_scalar(np.clip(crown - np.asarray(roof), 0, height))


def port_area(
    roof: Value,
    floor: Value,
    width: Value,
    count: Value,
    deck_clearance: Value,
    stroke: Value,
    rod: Value,
    pin_offset: Value = 0.0,
) -> Value:
    """Return the area that ports of one kind open at BDC [m2], as rectangles: width across the chord times height.

    Shapes: depths, width, deck clearance, stroke, rod and pin offset [m] and the number of ports broadcast together.
    Raises ValueError as :func:`open_height` does. Range: square corners; rounded ones take a few per cent off. Source:
    geometry.
    """
    bottom = bottom_dead_centre(stroke, rod, pin_offset)
    height = open_height(bottom, roof, floor, deck_clearance, stroke, rod, pin_offset)
    return unwrap_scalar(np.asarray(height) * np.asarray(width) * np.asarray(count))


def angle_area(
    roof: float,
    floor: float,
    width: float,
    count: float,
    deck_clearance: float,
    stroke: float,
    rod: float,
    pin_offset: float = 0.0,
) -> float:
    """Return the open area of ports of one kind summed over one revolution [m2 deg].

    Single values [m]. Raises ValueError as :func:`open_height` does. Over the engine speed it is the port's time-area:
    divide by 360 n for [m2 s]. Range: as :func:`port_area`. Source: geometry, trapezoid rule of 0.25 degrees.
    """
    theta: Array = np.radians(np.arange(0, 360 + ANGLE_STEP / 2, ANGLE_STEP))
    height = np.asarray(open_height(theta, roof, floor, deck_clearance, stroke, rod, pin_offset))
    return float(np.trapezoid(height, dx=ANGLE_STEP) * width * count)
