"""Cam timing, lift, springs and lifters.

Angles are crankshaft DEGREES, written as the trade writes them: intake opens BTDC, intake closes ABDC,
exhaust opens BBDC, exhaust closes ATDC, each negative when the event lies on the other side of its dead
center. The intake centerline is counted after TDC, the exhaust centerline before TDC. Each set of events
belongs to one stated lift (seat, 0.050 in, 1 mm, ...). Lifts and lengths [m], loads [N].

Events from a duration and a centerline take the lobe as symmetric; measured events are better.
"""

from __future__ import annotations

import numpy as np

from builder.engine.kinematics import piston_position
from builder.engine.lift_curve import LiftCurve
from builder.engine.validation import Value, reject_if, require_not_negative, require_positive, unwrap_scalar


def _check_duration(**named: Value) -> None:
    for name, value in named.items():
        reject_if(
            (np.asarray(value) <= 0) | (np.asarray(value) >= 720),
            f"the {name.replace('_', ' ')} must be more than 0 and less than 720 crankshaft degrees",
            name,
        )


def lobe_separation(intake_centerline: Value, exhaust_centerline: Value) -> Value:
    """Return the lobe separation [deg of cam] = (ICL + ECL)/2.

    Shapes: inputs broadcast together. intake_centerline [deg ATDC], exhaust_centerline [deg BTDC].
    Raises nothing. Source: geometry.
    """
    return unwrap_scalar((np.asarray(intake_centerline) + exhaust_centerline) / 2)


def cam_advance(lobe_separation: Value, intake_centerline: Value) -> Value:
    """Return the advance of the cam as put in [deg] = LSA - ICL; negative when retarded.

    Shapes: inputs broadcast together. lobe_separation [deg of cam], intake_centerline [deg ATDC].
    Raises nothing. Source: geometry.
    """
    return unwrap_scalar(np.asarray(lobe_separation) - intake_centerline)


def intake_opens(duration: Value, intake_centerline: Value) -> Value:
    """Return the angle at which the intake opens [deg BTDC] = Di/2 - ICL; negative means after TDC.

    Shapes: inputs broadcast together. duration [deg], intake_centerline [deg ATDC].
    Raises ValueError for a duration of zero or less, or of 720 or more. Range: symmetric lobe.
    Source: geometry.
    """
    _check_duration(duration=duration)
    return unwrap_scalar(np.asarray(duration) / 2 - intake_centerline)


def intake_closes(duration: Value, intake_centerline: Value) -> Value:
    """Return the angle at which the intake closes [deg ABDC] = Di/2 + ICL - 180; negative means before BDC.

    Shapes: inputs broadcast together. duration [deg], intake_centerline [deg ATDC].
    Raises ValueError for a duration of zero or less, or of 720 or more. Range: symmetric lobe.
    Source: geometry.
    """
    _check_duration(duration=duration)
    return unwrap_scalar(np.asarray(duration) / 2 + intake_centerline - 180)


def exhaust_opens(duration: Value, exhaust_centerline: Value) -> Value:
    """Return the angle at which the exhaust opens [deg BBDC] = De/2 + ECL - 180; negative means after BDC.

    Shapes: inputs broadcast together. duration [deg], exhaust_centerline [deg BTDC].
    Raises ValueError for a duration of zero or less, or of 720 or more. Range: symmetric lobe.
    Source: geometry.
    """
    _check_duration(duration=duration)
    return unwrap_scalar(np.asarray(duration) / 2 + exhaust_centerline - 180)


def exhaust_closes(duration: Value, exhaust_centerline: Value) -> Value:
    """Return the angle at which the exhaust closes [deg ATDC] = De/2 - ECL; negative means before TDC.

    Shapes: inputs broadcast together. duration [deg], exhaust_centerline [deg BTDC].
    Raises ValueError for a duration of zero or less, or of 720 or more. Range: symmetric lobe.
    Source: geometry.
    """
    _check_duration(duration=duration)
    return unwrap_scalar(np.asarray(duration) / 2 - exhaust_centerline)


def duration(opens: Value, closes: Value) -> Value:
    """Return the duration [deg] between two events = opens + 180 + closes.

    For an intake opens [deg BTDC] and closes [deg ABDC], for an exhaust opens [deg BBDC] and closes
    [deg ATDC]. Shapes: inputs broadcast together. Raises ValueError if the valve would close before it
    opens, or stay open for 720 degrees or more. Source: geometry.
    """
    length = np.asarray(opens) + 180.0 + np.asarray(closes)
    reject_if(length <= 0, "the valve closes before it opens", "opens", "closes")
    reject_if(length >= 720, "the valve would never close: these events are 720 degrees apart", "opens", "closes")
    return unwrap_scalar(length)


def intake_centerline_from_events(intake_opens: Value, intake_closes: Value) -> Value:
    """Return the middle of the intake's opening [deg ATDC] = (180 + closes - opens)/2.

    Shapes: inputs broadcast together. intake_opens [deg BTDC], intake_closes [deg ABDC].
    Raises ValueError if the valve would close before it opens. Range: an unsymmetric lobe peaks a little
    away from the middle. Source: geometry.
    """
    return unwrap_scalar(np.asarray(duration(intake_opens, intake_closes)) / 2 - intake_opens)


def exhaust_centerline_from_events(exhaust_opens: Value, exhaust_closes: Value) -> Value:
    """Return the middle of the exhaust's opening [deg BTDC] = (180 + opens - closes)/2.

    Shapes: inputs broadcast together. exhaust_opens [deg BBDC], exhaust_closes [deg ATDC].
    Raises ValueError if the valve would close before it opens. Range: an unsymmetric lobe peaks a little
    away from the middle. Source: geometry.
    """
    return unwrap_scalar(np.asarray(duration(exhaust_opens, exhaust_closes)) / 2 - exhaust_closes)


def overlap(intake_opens: Value, exhaust_closes: Value) -> Value:
    """Return the overlap at that lift [deg] = IO + EC; negative when the exhaust closes before the intake opens.

    Shapes: inputs broadcast together. intake_opens [deg BTDC], exhaust_closes [deg ATDC].
    Raises nothing. Source: geometry.
    """
    return unwrap_scalar(np.asarray(intake_opens) + exhaust_closes)


def overlap_from_duration(intake_duration: Value, exhaust_duration: Value, lobe_separation: Value) -> Value:
    """Return the overlap at that lift [deg] = (Di + De)/2 - 2 LSA, whatever the advance.

    Shapes: inputs [deg] broadcast together. Raises ValueError for a duration of zero or less, or of 720 or
    more. Range: symmetric lobes. Source: geometry.
    """
    _check_duration(intake_duration=intake_duration, exhaust_duration=exhaust_duration)
    return unwrap_scalar((np.asarray(intake_duration) + exhaust_duration) / 2 - 2 * np.asarray(lobe_separation))


def installed_centerline(near_reading: Value, far_reading: Value) -> Value:
    """Return the centerline found with a degree wheel [deg]: the middle of two readings at equal lift.

    Both readings are counted away from the TDC of overlap the way the centerline is: degrees after TDC for
    an intake lobe, before TDC for an exhaust lobe; near_reading is the one on the TDC side. A wheel marked
    0 to 360 may be entered as read (345 is 15 on the other side of TDC). The result lies in 0..360.
    Shapes: inputs [deg] broadcast together. Raises ValueError for two readings at the same place.
    Range: readings less than one turn of the crank apart; lift equal on a symmetric lobe.
    Source: common practice, no source.
    """
    between = np.mod(np.asarray(far_reading) - near_reading, 360.0)
    reject_if(
        between == 0,
        "the two degree wheel readings are at the same place, so no middle lies between them",
        "near_reading",
        "far_reading",
    )
    return unwrap_scalar(np.mod(np.asarray(near_reading) + between / 2, 360.0))


def installed_advance(card_centerline: Value, installed_centerline: Value) -> Value:
    """Return how far the cam is advanced against its card [deg], by intake centerlines; negative is retarded.

    = card - installed, both [deg ATDC]. By exhaust centerlines [deg BTDC] the sign turns round.
    Shapes: inputs broadcast together. Raises nothing. Source: common practice, no source.
    """
    return unwrap_scalar(np.asarray(card_centerline) - installed_centerline)


def valve_lift(lobe_lift: Value, rocker_ratio: Value, lash: Value = 0.0) -> Value:
    """Return the net lift at the valve [m] = lobe lift * rocker ratio - lash, and zero until the lash is taken up.

    lash is the clearance at the valve tip. Shapes: lobe_lift [m], rocker_ratio [1] and lash [m] broadcast
    together. Raises ValueError for a ratio of zero or less, or a negative lift or lash.
    Range: stiff parts; a rocker's true ratio changes a little along the lift. Source: geometry.
    """
    require_not_negative(lobe_lift=lobe_lift, lash=lash)
    require_positive(rocker_ratio=rocker_ratio)
    return unwrap_scalar(np.maximum(np.asarray(lobe_lift) * rocker_ratio - lash, 0.0))


def lobe_lift(valve_lift: Value, rocker_ratio: Value, lash: Value = 0.0) -> Value:
    """Return the lift at the lobe [m] = (valve lift + lash)/rocker ratio, the inverse of :func:`valve_lift`.

    Shapes: valve_lift [m], rocker_ratio [1] and lash [m] broadcast together. Raises ValueError for a ratio
    of zero or less, or a negative lift or lash. Source: geometry.
    """
    require_not_negative(valve_lift=valve_lift, lash=lash)
    require_positive(rocker_ratio=rocker_ratio)
    return unwrap_scalar((np.asarray(valve_lift) + lash) / np.asarray(rocker_ratio))


def lifter_preload(turns: Value, pitch: Value) -> Value:
    """Return the preload of a hydraulic lifter [m]: turns past zero lash * thread pitch.

    Shapes: turns [rev] and pitch [m] broadcast together. Raises ValueError for negative turns or a pitch of
    zero or less. Range: an adjuster that bears on the pushrod; for a nut that sets the rocker's pivot see
    :func:`pivot_lifter_preload`. Source: geometry.
    """
    require_not_negative(turns=turns)
    require_positive(pitch=pitch)
    return unwrap_scalar(np.asarray(turns) * pitch)


def pivot_lifter_preload(turns: Value, pitch: Value, rocker_ratio: Value) -> Value:
    """Return the preload of a hydraulic lifter [m] where the nut moves the rocker's pivot on its stud.

    The valve tip stays put and the rocker swings about it, so the pushrod's end goes (1 + 1/ratio) times as
    far as the nut. Shapes: turns [rev], pitch [m] and rocker_ratio [1] broadcast together. Raises
    ValueError for negative turns, or a pitch or ratio of zero or less. Range: small swings. Source: geometry.
    """
    require_positive(rocker_ratio=rocker_ratio)
    return unwrap_scalar(np.asarray(lifter_preload(turns, pitch)) * (1 + 1 / np.asarray(rocker_ratio)))


def spring_rate(first_load: Value, first_height: Value, second_load: Value, second_height: Value) -> Value:
    """Return the rate of a spring [N/m] from two loads at two heights = (F2 - F1)/(h1 - h2).

    Shapes: loads [N] and heights [m] broadcast together. Raises ValueError for equal heights, or if the
    shorter height does not carry the larger load. Range: between the two heights, clear of coil bind.
    Source: Shigley, Mechanical Engineering Design, springs.
    """
    named = ("first_load", "first_height", "second_load", "second_height")
    shortened = np.asarray(first_height) - second_height
    reject_if(shortened == 0, "two spring pressures at the same height tell nothing about the rate", *named)
    rate = (np.asarray(second_load) - first_load) / shortened
    reject_if(rate <= 0, "the spring carries less load at the shorter height: the readings are swapped", *named)
    return unwrap_scalar(rate)


def seat_load(spring_rate: Value, known_load: Value, known_height: Value, installed_height: Value) -> Value:
    """Return the spring pressure on the seat [N] at the installed height, from the rate and one known load and height.

    Shapes: spring_rate [N/m], known_load [N] and heights [m] broadcast together. Raises ValueError for a
    rate or height of zero or less, or a load that comes out below zero (the spring would hang loose).
    Range: constant rate. Source: Shigley, springs.
    """
    require_positive(spring_rate=spring_rate, known_height=known_height, installed_height=installed_height)
    load = np.asarray(known_load) + np.asarray(spring_rate) * (np.asarray(known_height) - installed_height)
    reject_if(
        load < 0,
        "at this installed height the spring would hang loose",
        "installed_height",
        "known_height",
        "known_load",
        "spring_rate",
    )
    return unwrap_scalar(load)


def open_load(seat_load: Value, spring_rate: Value, valve_lift: Value) -> Value:
    """Return the spring pressure at full lift [N] = seat pressure + rate * lift.

    Shapes: seat_load [N], spring_rate [N/m] and valve_lift [m] broadcast together. Raises ValueError for a
    rate of zero or less, or a negative load or lift. Range: constant rate, clear of coil bind.
    Source: Shigley, springs.
    """
    require_not_negative(seat_load=seat_load, valve_lift=valve_lift)
    require_positive(spring_rate=spring_rate)
    return unwrap_scalar(np.asarray(seat_load) + np.asarray(spring_rate) * valve_lift)


def coil_bind_clearance(installed_height: Value, valve_lift: Value, solid_height: Value) -> Value:
    """Return the travel left before the coils touch [m] = installed height - lift - solid height.

    Negative means that the spring binds before full lift: not an error of form, but never to be run.
    Shapes: inputs [m] broadcast together. Raises ValueError for a height of zero or less, a negative lift,
    or a spring installed below its solid height. Source: geometry.
    """
    require_positive(installed_height=installed_height, solid_height=solid_height)
    require_not_negative(valve_lift=valve_lift)
    reject_if(
        np.asarray(installed_height) < np.asarray(solid_height),
        "the spring cannot be installed shorter than its solid height",
        "installed_height",
        "solid_height",
    )
    return unwrap_scalar(np.asarray(installed_height) - valve_lift - solid_height)


def carried_coil_bind_clearance(
    measured: Value, lift_before: Value, lift_after: Value, lower_by: Value = 0.0, solid_longer_by: Value = 0.0
) -> Value:
    """Return the travel left before the coils touch [m] after a change, carried along from where it was measured.

    = measured - (lift after - lift before) - how much lower the spring is installed - how much longer it is when
    solid. Lifts are net lifts at the valve (:func:`valve_lift`). Negative means that the spring binds before full
    lift. Shapes: inputs [m] broadcast together. Raises ValueError for a negative lift. Range: stiff parts.
    Source: geometry.
    """
    require_not_negative(lift_before=lift_before, lift_after=lift_after)
    return unwrap_scalar(
        np.asarray(measured) - (np.asarray(lift_after) - lift_before) - np.asarray(lower_by) - solid_longer_by
    )


def closest_approach(
    curve: LiftCurve, stroke: float, rod: float, pin_offset: float = 0.0, valve_angle: float = 0.0
) -> tuple[float, float]:
    """Return where piston and valve come closest [deg of crank after the TDC of overlap], and how far they close in.

    What they close in [m] is lift less the way of the piston below TDC, along the valve's axis: the clearance is
    that much smaller than with the piston at TDC and the valve shut. Searched from 90 degrees before the TDC of
    overlap to 90 after. stroke, rod and pin_offset [m]; valve_angle [deg] between the axes of valve and cylinder.
    Raises ValueError if the crank cannot turn. Range: the bottom of the pocket square to the valve; as approximate
    as the lift curve. Source: geometry.
    """
    angles = np.linspace(-90.0, 90.0, 7201)
    away = np.asarray(piston_position(np.deg2rad(angles), stroke, rod, pin_offset)) * np.cos(np.deg2rad(valve_angle))
    closing = np.asarray(curve.at(angles)) - away
    closest = int(np.argmax(closing))
    return float(angles[closest]), float(closing[closest])


def carried_piston_to_valve(
    measured: Value,
    before: LiftCurve,
    after: LiftCurve,
    stroke: float,
    rod: float,
    pin_offset: float = 0.0,
    valve_angle: float = 0.0,
) -> Value:
    """Return the piston-to-valve clearance [m] after a change of lift, ratio, lash or timing, from one measured before.

    = measured + (closing in before - closing in after), see :func:`closest_approach`. Near the TDC of overlap this is
    the change of lift at the angle of closest approach, with the motion of the piston where that angle moves.
    ``before`` and ``after`` are the lift at the valve with the parts as measured and as changed
    (:meth:`LiftCurve.changed`); a piston higher or lower in the bore is added by the caller. Shapes: measured [m] of
    any shape. Raises ValueError if the crank cannot turn. Range: APPROXIMATE. The curves are drawn through the few
    points of a cam card; the shape that both share drops out of the difference, so that a small change is carried
    along well and another cam less so. Stiff parts: float and stretch at speed are not in it. To be measured again
    on the engine before it is run. Source: geometry.
    """
    closing_before = closest_approach(before, stroke, rod, pin_offset, valve_angle)[1]
    closing_after = closest_approach(after, stroke, rod, pin_offset, valve_angle)[1]
    return unwrap_scalar(np.asarray(measured) + (closing_before - closing_after))


def lift_to_diameter(valve_lift: Value, valve_diameter: Value) -> Value:
    """Return the lift over the valve diameter [1]. Shapes: inputs [m] broadcast together.

    Raises ValueError for a diameter of zero or less or a negative lift. Source: Heywood ch. 6.
    """
    require_not_negative(valve_lift=valve_lift)
    require_positive(valve_diameter=valve_diameter)
    return unwrap_scalar(np.asarray(valve_lift) / np.asarray(valve_diameter))


def curtain_area(valve_lift: Value, valve_diameter: Value) -> Value:
    """Return the area of the curtain round a lifted valve [m2] = pi Dv L, one valve.

    Shapes: inputs [m] broadcast together. Raises ValueError for a diameter of zero or less or a negative
    lift. Range: a reference area; above L/Dv of 0.25 the port is the narrower. Source: Heywood ch. 6.
    """
    require_not_negative(valve_lift=valve_lift)
    require_positive(valve_diameter=valve_diameter)
    return unwrap_scalar(np.pi * np.asarray(valve_diameter) * valve_lift)
