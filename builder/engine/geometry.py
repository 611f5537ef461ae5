"""Cylinder and compression: volumes, the deck stack-up and the compression ratio.

Every input may be one value or one per cylinder; a cylinder that was not measured (NaN) stays NaN. All
lengths [m], all volumes [m3], unless a docstring says otherwise. Impossible geometry raises
:class:`~builder.engine.validation.InputConflict`, a ValueError that names the inputs.

Source: Heywood, Internal Combustion Engine Fundamentals, ch. 2, and plain geometry.
"""

from __future__ import annotations

import numpy as np

from builder.engine.kinematics import cylinder_volume
from builder.engine.validation import Value, reject_if, require_not_negative, require_positive, unwrap_scalar


def swept_volume(bore: Value, stroke: Value) -> Value:
    """Return the volume swept by one piston [m3] = pi/4 B^2 S.

    Shapes: inputs [m] broadcast together. Raises ValueError for a bore or stroke of zero or less.
    Range: any; an offset pin adds a few parts in a hundred thousand, left out as the trade does.
    Source: Heywood ch. 2.
    """
    require_positive(bore=bore, stroke=stroke)
    return unwrap_scalar(np.pi / 4 * np.asarray(bore) ** 2 * stroke)


def displacement(swept_volume: Value, cylinders: int) -> Value:
    """Return the volume swept by all pistons [m3] = N * swept volume; for any number of cylinders.

    Shape: as swept_volume [m3] (with one for each cylinder the result is one for each too, as if all were
    alike: take the mean first). Raises ValueError for a swept volume of zero or less, or for a number of
    cylinders that is not a whole number of one or more. Source: Heywood ch. 2.
    """
    require_positive(swept_volume=swept_volume)
    reject_if(cylinders < 1 or cylinders != int(cylinders), "the cylinders must be counted: 1, 2, 3, ...", "cylinders")
    return unwrap_scalar(cylinders * np.asarray(swept_volume))


def bore_stroke_ratio(bore: Value, stroke: Value) -> Value:
    """Return the bore over the stroke [1]. Shapes: inputs [m] broadcast together.

    Raises ValueError for a bore or stroke of zero or less. Source: Heywood ch. 2.
    """
    require_positive(bore=bore, stroke=stroke)
    return unwrap_scalar(np.asarray(bore) / np.asarray(stroke))


def rod_ratio(rod: Value, stroke: Value) -> Value:
    """Return the rod length, center to center, over the stroke [1]. Shapes: inputs [m] broadcast together.

    Raises ValueError for a rod no longer than half the stroke: such a crank cannot turn.
    Range: 1.4 to 2.2 in running engines. Source: Heywood ch. 2.
    """
    require_positive(rod=rod, stroke=stroke)
    reject_if(
        np.asarray(rod) <= np.asarray(stroke) / 2,
        "the rod is too short for the stroke: center to center it must be longer than half the stroke,"
        " or the crank cannot turn",
        "rod",
        "stroke",
    )
    return unwrap_scalar(np.asarray(rod) / np.asarray(stroke))


def deck_clearance(deck_height: Value, stroke: Value, rod: Value, compression_height: Value) -> Value:
    """Return the piston crown below the deck at TDC [m] = deck height - (S/2 + L + compression height).

    Negative when the crown is above the deck. Shapes: inputs [m] broadcast together.
    Raises ValueError for a length of zero or less, or a rod no longer than half the stroke.
    Range: no pin offset (1 mm of it lowers the crown by some 0.003 mm).
    Source: geometry.
    """
    require_positive(deck_height=deck_height, compression_height=compression_height)
    rod_ratio(rod, stroke)
    return unwrap_scalar(np.asarray(deck_height) - (np.asarray(stroke) / 2 + rod + compression_height))


def compression_height_from_deck(deck_height: Value, stroke: Value, rod: Value, deck_clearance: Value) -> Value:
    """Return the compression height the piston must have [m] for the deck clearance that was measured.

    The inverse of :func:`deck_clearance`: it finds a piston that is too short without taking it out.
    Shapes: inputs [m] broadcast together. Raises ValueError for impossible geometry. Source: geometry.
    """
    require_positive(deck_height=deck_height)
    rod_ratio(rod, stroke)
    height = np.asarray(deck_height) - (np.asarray(stroke) / 2 + rod + deck_clearance)
    reject_if(
        height <= 0,
        "half the stroke, the rod and the deck clearance together already reach the deck height,"
        " leaving no compression height",
        "deck_height",
        "stroke",
        "rod",
        "deck_clearance",
    )
    return unwrap_scalar(height)


def quench(deck_clearance: Value, gasket_thickness: Value) -> Value:
    """Return the squish distance, crown to head [m] = deck clearance + compressed gasket thickness.

    Negative when the crown is above the head's face, for which the head must be recessed there.
    Shapes: inputs [m] broadcast together. Raises ValueError for a negative gasket thickness.
    Range: as assembled, cold and still; at speed the rod stretches and the piston rocks.
    Source: common practice for the name, no source; geometry.
    """
    require_not_negative(gasket_thickness=gasket_thickness)
    return unwrap_scalar(np.asarray(deck_clearance) + np.asarray(gasket_thickness))


def gasket_volume(gasket_bore: Value, gasket_thickness: Value) -> Value:
    """Return the volume inside the head gasket's bore [m3] = pi/4 Bg^2 tg, compressed thickness.

    Shapes: inputs [m] broadcast together. Raises ValueError for a bore of zero or less or a negative
    thickness. Range: a round gasket bore; a shaped one is better poured. Source: geometry.
    """
    require_positive(gasket_bore=gasket_bore)
    require_not_negative(gasket_thickness=gasket_thickness)
    return unwrap_scalar(np.pi / 4 * np.asarray(gasket_bore) ** 2 * gasket_thickness)


def deck_volume(bore: Value, deck_clearance: Value) -> Value:
    """Return the volume between a flat crown and the deck [m3] = pi/4 B^2 * deck clearance; negative above it.

    Also the volume that a piston whose compression height is off by a length gains: a piston that sits
    lower by d adds ``deck_volume(bore, d)``. Shapes: inputs [m] broadcast together.
    Raises ValueError for a bore of zero or less. Source: geometry.
    """
    require_positive(bore=bore)
    return unwrap_scalar(np.pi / 4 * np.asarray(bore) ** 2 * deck_clearance)


def top_land_volume(bore: Value, land_diameter: Value, land_height: Value) -> Value:
    """Return the crevice between the piston's top land and the bore, down to the top ring [m3].

    = pi/4 (B^2 - D^2) h. Shapes: inputs [m] broadcast together. Raises ValueError for a length of zero or
    less, or a land as large as the bore or larger. Range: a plain ring-shaped gap. Source: geometry.
    """
    require_positive(bore=bore, land_diameter=land_diameter, land_height=land_height)
    reject_if(
        np.asarray(land_diameter) >= np.asarray(bore),
        "the top land is as large as the bore or larger: the piston would not go in",
        "land_diameter",
        "bore",
    )
    return unwrap_scalar(np.pi / 4 * (np.asarray(bore) ** 2 - np.asarray(land_diameter) ** 2) * land_height)


def clearance_volume(
    chamber_volume: Value, gasket_volume: Value, deck_volume: Value, crown_volume: Value, top_land_volume: Value = 0.0
) -> Value:
    """Return the volume left above the piston at TDC [m3]: chamber + gasket + deck + crown + top land.

    crown_volume counts what the crown takes away from a flat top: dish and valve reliefs positive, dome
    negative. deck_volume is negative when the crown is above the deck. Shapes: inputs [m3] broadcast together.
    Raises ValueError for a chamber of zero or less, a negative gasket or top-land volume, or a sum of zero
    or less. Source: geometry.
    """
    require_positive(chamber_volume=chamber_volume)
    require_not_negative(gasket_volume=gasket_volume, top_land_volume=top_land_volume)
    total = np.asarray(chamber_volume) + gasket_volume + deck_volume + crown_volume + top_land_volume
    reject_if(
        total <= 0,
        "the chamber, gasket, deck and crown volumes together leave no room above the piston",
        "chamber_volume",
        "gasket_volume",
        "deck_volume",
        "crown_volume",
        "top_land_volume",
    )
    return unwrap_scalar(total)


def compression_ratio(swept_volume: Value, clearance_volume: Value) -> Value:
    """Return the compression ratio of one cylinder [1] = (swept + clearance)/clearance.

    Shapes: inputs [m3] broadcast together. Raises ValueError for a volume of zero or less.
    Range: the geometric ratio, from dead center to dead center. Source: Heywood ch. 2.
    """
    require_positive(swept_volume=swept_volume, clearance_volume=clearance_volume)
    return unwrap_scalar(1 + np.asarray(swept_volume) / np.asarray(clearance_volume))


def clearance_for_ratio(swept_volume: Value, compression_ratio: Value) -> Value:
    """Return the clearance volume that gives a compression ratio [m3] = swept/(ratio - 1).

    Shapes: swept_volume [m3] and compression_ratio [1] broadcast together. Raises ValueError for a swept
    volume of zero or less or a ratio of one or less. Source: Heywood ch. 2.
    """
    require_positive(swept_volume=swept_volume)
    reject_if(np.asarray(compression_ratio) <= 1, "a compression ratio must be greater than 1", "compression_ratio")
    return unwrap_scalar(np.asarray(swept_volume) / (np.asarray(compression_ratio) - 1))


def crown_volume(
    clearance_volume: Value,
    chamber_volume: Value,
    gasket_volume: Value,
    deck_volume: Value,
    top_land_volume: Value = 0.0,
) -> Value:
    """Return the volume of the crown [m3] from the total and the other parts: dish positive, dome negative.

    For a clearance volume that was poured with the engine together, or that follows from a ratio.
    Shapes: inputs [m3] broadcast together. Raises ValueError for a clearance or chamber volume of zero or
    less, or a negative gasket or top-land volume. Source: geometry.
    """
    require_positive(clearance_volume=clearance_volume, chamber_volume=chamber_volume)
    require_not_negative(gasket_volume=gasket_volume, top_land_volume=top_land_volume)
    others = np.asarray(chamber_volume) + gasket_volume + deck_volume + top_land_volume
    return unwrap_scalar(np.asarray(clearance_volume) - others)


def effective_compression_ratio(
    bore: Value, stroke: Value, rod: Value, clearance_volume: Value, intake_closes: Value, pin_offset: Value = 0.0
) -> Value:
    """Return the volume trapped when the intake closes, over the clearance volume [1], by the exact slider-crank.

    intake_closes [deg ABDC], negative for closing before BDC (then too the volume at closing counts: what
    the charge is stretched to below that, it regains on the way up). Take it at a stated lift: seat timing
    and 0.050 in timing give different ratios. For a two-stroke give the angle at which the last port or
    valve closes, and the result is its trapped ratio. bore, stroke, rod, pin_offset [m],
    clearance_volume [m3]; shapes broadcast together.

    Raises ValueError for impossible geometry, and for an intake that closes 180 degrees or more away from
    BDC, where nothing could be compressed. Range: no ram or backflow; the geometric ratio at still air.
    Source: Heywood ch. 2.
    """
    reject_if(
        np.abs(intake_closes) >= 180,
        "the intake must close less than 180 degrees from BDC, or nothing is left to compress",
        "intake_closes",
    )
    theta = unwrap_scalar(np.radians(180 + np.asarray(intake_closes)))
    trapped = cylinder_volume(theta, bore, stroke, rod, clearance_volume, pin_offset)
    return unwrap_scalar(np.asarray(trapped) / np.asarray(clearance_volume))
