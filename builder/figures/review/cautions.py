"""Cautions: the guidelines and the ranges of standards that a build breaks. Breaking one is never an error."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from builder.figures.core import display_units
from builder.figures.core.display_units import join_unit, written_text
from builder.figures.core.guard import Guard
from builder.figures.core.types import Caution, Figure, FigureSheet
from builder.figures.definitions.piston_motion import AT_RED_LINE
from builder.figures.review.guideline_defaults import (
    SHOP_RULE,
    crank_guideline,
    effective_ratio_guideline,
    guideline_value,
    piston_speed_guideline,
)
from builder.figures.review.instruments import overdue_instruments
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.quantities.digits import is_above, is_below
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import to_unit

_SET_IN = "set in shop.yaml, guidelines"
_NEAR_SEAT = 0.55e-3
"""Timing taken at more lift [m] than this does not show when the valve really shuts: seat timing is given at 0.004
to 0.020 in. Common practice, no source."""
_SOURCES_TO_CHECK = {"used", "customer's own", "swap meet", "mixed lot"}

Rule = Callable[[Build, Shop, FigureSheet], Iterator[Caution]]


def build_cautions(build: Build, shop: Shop, sheet: FigureSheet, guard: Guard) -> tuple[Caution, ...]:
    """Return every guideline and every standard's range that a build breaks, each with whose rule it is.

    They speak of the engine as it was delivered. Those that the shop accepted say so.
    """
    accepted = build.accepted_cautions
    return tuple(
        replace(caution, is_accepted=True, accepted=accepted[caution.name]) if caution.name in accepted else caution
        for rule in _RULES
        for caution in guard.collect(
            f"the caution on {rule.__name__.strip('_').replace('_', ' ')}", partial(rule, build, shop, sheet)
        )
    )


def unused_answers(build: Build, cautions: tuple[Caution, ...]) -> Iterator[Problem]:
    """Yield a warning for each accepted caution that the engine does not have."""
    names = {caution.name for caution in cautions}
    for index, item in enumerate(build.get("delivery.accepted") or ()):
        if item.caution not in names:
            message = f"there is no caution on {item.caution} to accept: leave the entry out"
            yield Problem(*build.where(f"delivery.accepted.{index}.caution"), message, "warning")


def _correction_range(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield what lies outside the range of a correction standard as the engine was delivered."""
    delivered = sheet.session.delivered if sheet.session else None
    if delivered is not None:
        for text in delivered.outside:
            sentence = f"{delivered.name}: {text}"
            yield Caution("correction_range", "correction_factor", sentence, "what the standard covers")


def _pull_guidelines(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield the guidelines broken as the engine was delivered; those of other pulls are notes of the session."""
    for violation in sheet.session.delivered_violations if sheet.session else ():
        path = f"dyno.pulls.{violation.index}"
        yield Caution(violation.channel, path, violation.text, violation.guideline, build.where(f"{path}.file"))


def _calibration_due(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    for instrument, due, cited in overdue_instruments(build, shop):
        text = f"{instrument.kind} {instrument.id} was due for calibration on {due.isoformat()}, before it was used"
        yield Caution("calibration_due", cited.path, text, "the shop's instruments", build.where(cited.path))


def _peak_at_end(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    delivered = sheet.session.delivered if sheet.session else None
    if delivered is not None and delivered.peak_power.at_end:
        text = (
            f"{delivered.name}: power was highest where the pull ended or began, so the engine's own peak lies outside"
        )
        yield Caution("peak_at_end", "peak_power", text, "")


def _crank(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    material, power = build.get("bottom_end.crankshaft.material"), sheet.get("peak_power")
    rule = crank_guideline(shop, material) if material else None
    if rule is None or power is None or not is_above(power.shown, rule.power, power.step):
        return
    strength = f" ({rule.strength.replace('psi', 'psi tensile')})" if rule.strength else ""
    up_to = display_units.POWER.text(rule.power, sheet.system)
    limit = f"less than {rule.less_than}, {up_to}" if rule.less_than else f"up to {up_to}"
    yield Caution(
        "crank_power",
        "peak_power",
        f"The crankshaft is of {material}{strength} and the engine makes {power.display}",
        f"{rule.authority}: {limit}; shops differ widely here, and it is {_SET_IN}.crank_power",
        build.where("bottom_end.crankshaft.material"),
    )


def _crank_torque(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    material, torque = build.get("bottom_end.crankshaft.material"), sheet.get("peak_torque")
    rule = next((rule for rule in shop.guidelines.crank_torque if rule.material == material), None)
    if rule is None or torque is None or not is_above(torque.shown, rule.up_to.si, torque.step):
        return
    yield Caution(
        "crank_torque",
        "peak_torque",
        f"The crankshaft is of {material} and the engine makes {torque.display}",
        f"{SHOP_RULE}: up to {display_units.TORQUE.text(rule.up_to.si, sheet.system)}, {_SET_IN}.crank_torque",
        build.where("bottom_end.crankshaft.material"),
    )


def _rod_bolts(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    margin, rule = sheet.get("rod_bolt_margin"), guideline_value(shop, "least_rod_bolt_margin")
    if margin is None or not is_below(margin.shown, rule.value, margin.step):
        return
    yield Caution(
        "rod_bolts",
        "rod_bolt_margin",
        f"The proof load of a rod bolt is {margin.display} times its load at redline",
        f"{rule.authority}: at least {rule.text}, {_SET_IN}.least_rod_bolt_margin; a rod bolt that fails wrecks the "
        "engine and can hurt people: ask the manufacturer of the bolts",
        build.where("bottom_end.rods.bolts"),
    )


def _balance(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    grade, rule = sheet.get("balance_grade"), guideline_value(shop, "most_balance_grade")
    if grade is None or not is_above(grade.shown, rule.value * 1e-3, grade.step):
        return
    yield Caution(
        "balance",
        "balance_grade",
        f"The imbalance of the crankshaft comes to {grade.display} at redline",
        f"{rule.authority}: at most {rule.text} mm/s (ISO 21940-11 grade G 16, from memory), "
        f"{_SET_IN}.most_balance_grade",
        build.where("bottom_end.balance.imbalance"),
    )


def _lash_ramp(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    share, rule = sheet.get("lash_over_ramp"), guideline_value(shop, "most_lash_over_ramp")
    for position in share.positions if share is not None else ():
        if is_above(position.shown, rule.value, position.step):
            yield Caution(
                "lash_ramp",
                "lash_over_ramp",
                f"The {position.label} lash is {position.display} times the height of the cam's ramp: the valve lands "
                "hard, which is noisy and wears valve, seat and lobe",
                f"{rule.authority}: at most {rule.text}, {_SET_IN}.most_lash_over_ramp; the cam manufacturer's lash "
                "comes first",
                build.where(f"cam.card.{position.label}.ramp_height"),
            )


def _spring_margin(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    margin, rule = sheet.get("spring_margin"), guideline_value(shop, "least_spring_margin")
    if margin is None:
        return
    (low, low_text), _ = _extremes(margin)
    if is_below(low, rule.value, margin.step):
        yield Caution(
            "spring_margin",
            "spring_margin",
            f"The spring force is about {low_text} times what the valve needs at redline",
            f"{rule.authority}: at least {rule.text}, {_SET_IN}.least_spring_margin; approximate, from the cam card: "
            "ask the manufacturer of the cam which spring it needs",
            build.where("top_end.springs"),
        )


def _pushrods(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    difference, rule = sheet.get("pushrod_difference"), guideline_value(shop, "most_pushrod_difference")
    if difference is None or not difference.positions:
        return
    limit = f"{rule.authority}: within {rule.text_in(sheet.system)}, {_SET_IN}.most_pushrod_difference"
    for position in difference.positions:
        if is_above(abs(position.shown), rule.value, position.step):
            length = position.display.removeprefix("−")
            direction = "longer" if position.shown > 0 else "shorter"
            text = f"The {position.label} pushrods are {length} {direction} than needed"
            yield Caution("pushrod_length", "pushrod_difference", text, limit, build.where("top_end.pushrods"))


def _retainer_to_seal(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield the clearance as calculated; where it was measured at full lift, the check of the measurement applies."""
    figure, rule = sheet.get("retainer_to_seal_clearance"), guideline_value(shop, "least_retainer_to_seal")
    if figure is None or build.get("assembly.checks.retainer_to_seal") is not None:
        return
    (low, low_text), _ = _extremes(figure)
    if is_below(low, rule.value, figure.step):
        text = f"The retainer is {low_text} from the valve seal at full lift"
        limit = f"{rule.authority}: at least {rule.text_in(sheet.system)}"
        yield Caution("retainer_to_seal", "retainer_to_seal_clearance", text, limit, figure.where)


def _spring_surge(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    order, rule = sheet.get("spring_surge_order"), guideline_value(shop, "least_surge_order")
    if order is None or not is_below(order.shown, rule.value, order.step):
        return
    yield Caution(
        "spring_surge",
        "spring_surge_order",
        f"The valve springs surge at {order.display} times the cam speed at redline",
        f"{rule.authority}: at least {rule.text}, {_SET_IN}.least_surge_order",
        build.where("top_end.springs"),
    )


def _piston_speed(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    kind, figure = build.get("bottom_end.pistons.type"), sheet.get("mean_piston_speed")
    rule = piston_speed_guideline(shop, kind) if kind else None
    at = next((p for p in figure.positions if p.label == AT_RED_LINE), None) if figure else None
    if rule is None or at is None or not is_above(at.shown, rule.value, at.step):
        return
    yield Caution(
        "piston_speed",
        "mean_piston_speed",
        f"At the red line the {kind} pistons travel at {at.display} on average",
        f"{rule.authority}: {kind} pistons up to {display_units.VELOCITY.text(rule.value, sheet.system)}",
        build.where("bottom_end.pistons.type"),
    )


def _quench(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    figure = sheet.get("quench")
    engine = build.build.engine
    if figure is None or engine.ignition != "spark" or engine.cycle != "four-stroke":
        return
    least, most = guideline_value(shop, "least_quench"), guideline_value(shop, "most_quench")
    (low, low_text), (high, high_text) = _extremes(figure)
    if is_below(low, least.value, figure.step):
        is_proud = is_below(low, 0.0, figure.step)
        consequence = "the crown is above the head's face" if is_proud else "piston and head may touch at speed"
        rule = f"{least.authority}: at least {least.text_in(sheet.system)}"
        yield Caution("quench", "quench", f"Quench is {low_text}: {consequence}", rule, figure.where)
    if is_above(high, most.value, figure.step):
        rule = f"{most.authority}: at most {most.text_in(sheet.system)}"
        yield Caution("quench", "quench", f"Quench is {high_text}: too wide to stir the charge", rule, figure.where)


def _extremes(figure: Figure) -> tuple[tuple[float, str], tuple[float, str]]:
    """Return the lowest and the highest value of a figure as shown, each with its text and position."""
    low, high = figure.minimum, figure.maximum
    if low is None or high is None or len(figure.positions) == 1:
        return (figure.shown, figure.display), (figure.shown, figure.display)
    return (
        (low.shown, f"{low.display} at {figure.axis} {low.label}"),
        (high.shown, f"{high.display} at {figure.axis} {high.label}"),
    )


def _effective_ratio(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    engine, figure = build.build.engine, sheet.get("effective_compression_ratio")
    if figure is None or engine.fuel is None or engine.induction not in (None, "naturally aspirated"):
        return
    rule = effective_ratio_guideline(shop, engine.fuel.kind)
    near_seat = [(p.place, p) for p in figure.positions if p.place is not None and p.place <= _NEAR_SEAT]
    if rule is None or not near_seat:
        return
    place, at = min(near_seat, key=lambda pair: pair[0])
    if is_above(at.shown, rule.value, at.step):
        lift = at.label if place else "the seat"
        yield Caution(
            "effective_ratio",
            "effective_compression_ratio",
            f"With timing at {lift} the dynamic compression ratio is {at.display} on {engine.fuel.kind}",
            f"{rule.authority}: up to {rule.text}, by timing at the seat or near it",
            build.where("build.engine.fuel"),
        )


def _spring_travel(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield coil bind as computed; where it was measured, the check of the measurement applies."""
    figure, rule = sheet.get("coil_bind_clearance"), guideline_value(shop, "least_coil_bind")
    if figure is None or build.get("assembly.checks.coil_bind") is not None:
        return
    if not is_below(figure.shown, rule.value, figure.step):
        return
    text = f"The valve springs have {figure.display} of travel left at full lift"
    limit = f"{rule.authority}: at least {rule.text_in(sheet.system)}"
    yield Caution("coil_bind", "coil_bind_clearance", text, limit, figure.where)


def _implausibly_high(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    engine = build.build.engine
    if engine.induction not in (None, "naturally aspirated") or engine.cycle != "four-stroke":
        return
    for slug, name, title in (
        ("bmep", "most_bmep_natural", "Bmep"),
        ("volumetric_efficiency", "most_volumetric_efficiency", "Volumetric efficiency"),
    ):
        figure, rule = sheet.get(slug), guideline_value(shop, name)
        if figure is not None and is_above(figure.shown, rule.value, figure.step):
            limit = figure.description.display_unit.text(rule.value, sheet.system)
            yield Caution(
                slug,
                slug,
                f"{title} of {figure.display} is more than natural induction is known to give: "
                "look at the dyno's calibration and the correction",
                f"{rule.authority}: up to {limit}",
            )


def _timing(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    total, rule = build.get("delivery.settings.total_timing"), guideline_value(shop, "most_timing")
    if total is None or build.build.engine.ignition != "spark":
        return
    if not is_above(total.si, rule.value, total.step):
        return
    path = "delivery.settings.total_timing"
    text = f"Total timing is set to {total.text}"
    yield Caution("total_timing", path, text, f"{rule.authority}: up to {rule.text}", build.where(path))


def _restrictor(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield more air than a restrictor can pass, and more power than its air can make."""
    where = build.where("top_end.induction.restrictor_diameter")
    use = sheet.get("restrictor_use")
    if use is not None and is_above(use.shown, 1.0, use.step):
        text = f"The air that the engine takes in is {use.display} of the most that the restrictor can pass"
        rule = "physics, choked flow: look at fuel flow, mixture, air flow and the diameter"
        yield Caution("restrictor", "restrictor_use", text, rule, where)
    share, most = sheet.get("restrictor_efficiency"), guideline_value(shop, "most_restrictor_efficiency")
    if share is not None and build.build.engine.ignition == "spark" and is_above(share.shown, most.value, share.step):
        text = f"Peak power asks for {share.display} of the heat that the air through the restrictor can burn"
        limit = display_units.WHOLE_PERCENT.text(most.value, sheet.system)
        rule = (
            f"{most.authority}: at most {limit}, {_SET_IN}.most_restrictor_efficiency; look at the calibration of the "
        )
        rule += "dyno, the correction and the diameter"
        yield Caution("restrictor", "restrictor_efficiency", text, rule, where)


def _fuel_pump_pressure(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Yield a fuel pump whose flow is stated at less pressure than that of the fuel, and boost where there is some."""
    rated, fuel = build.get("top_end.induction.fuel_pump.pressure"), build.get("delivery.settings.fuel_pressure")
    if rated is None or fuel is None or fuel.dimension != "pressure" or not fuel.preferred:
        return
    boost = sheet.get("pressure_ratio")
    barometer = sheet.session.delivered.conditions.pressure if sheet.session and sheet.session.delivered else None
    on_top = (boost.value - 1) * barometer if boost is not None and barometer is not None else 0.0
    needed = float(fuel.values.max()) + max(on_top, 0.0)
    if is_below(rated.si, needed, rated.step):
        number = to_unit(needed, rated.unit, rated.dimension)
        against = join_unit(f"{number:.{max(1, len(rated.number.partition('.')[2]))}f}", printed_unit(rated.unit))
        parts = "the fuel pressure and the boost" if on_top > 0 else "the fuel pressure"
        text = f"The flow of the fuel pump is stated at {written_text(rated)}, and {parts} come to {against}"
        path = "top_end.induction.fuel_pump.pressure"
        rule = (
            "physics: a pump gives less against more pressure; without a regulator that follows the boost, leave it out"
        )
        yield Caution("fuel_pump", path, text, rule, build.where(path))


def _rev_limiter(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    path = "top_end.ignition.rev_limiter"
    limiter, red_line = build.get(path), build.build.engine.red_line
    if limiter is not None and red_line is not None and is_above(limiter.si, red_line.si, limiter.step):
        text = f"The rev limiter cuts in at {written_text(limiter)}"
        yield Caution("rev_limiter", path, text, f"red line {written_text(red_line)}", build.where(path))


def _breathing(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    duty, rule = sheet.get("injector_duty"), guideline_value(shop, "most_injector_duty")
    if duty is not None and is_above(duty.shown, rule.value, duty.step):
        limit = f"{rule.authority}: at most {display_units.WHOLE_PERCENT.text(rule.value, sheet.system)}"
        yield Caution("injector_duty", "injector_duty", f"The injectors stand open {duty.display} of the time", limit)
    margin, rule = sheet.get("fuel_pump_margin"), guideline_value(shop, "least_fuel_pump_margin")
    if margin is not None and is_below(margin.shown, rule.value, margin.step):
        text = f"The fuel pump gives {margin.display} times the fuel taken at peak power; an engine that runs out of "
        text += "fuel under load runs lean and is damaged"
        limit = f"{rule.authority}: at least {rule.text}, {_SET_IN}.least_fuel_pump_margin"
        yield Caution("fuel_pump", "fuel_pump_margin", text, limit, build.where("top_end.induction.fuel_pump"))
    headroom, rule = sheet.get("induction_headroom"), guideline_value(shop, "least_induction_headroom")
    if headroom is not None and is_below(headroom.shown, rule.value, headroom.step):
        text = f"The induction passes {headroom.display} of the air the engine asks for"
        yield Caution("induction_headroom", "induction_headroom", text, f"{rule.authority}: at least {rule.text}")


def _clearances(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    for clearance in sheet.clearances:
        if not clearance.passes:
            about = clearance.figure_slug or clearance.path
            yield Caution(clearance.caution_name, about, clearance.violation_text, clearance.rule_text, clearance.where)


def _parts(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    for index, part in enumerate(build.parts.parts if build.parts else ()):
        if part.never_checked and part.source in _SOURCES_TO_CHECK:
            path = f"parts.parts.{index}"
            text = f"Nobody checked this part before it went in: {part.part} ({part.source})"
            yield Caution("unchecked_part", path, text, "", build.where(path))


_RULES: tuple[Rule, ...] = (
    _correction_range,
    _pull_guidelines,
    _calibration_due,
    _peak_at_end,
    _crank,
    _crank_torque,
    _rod_bolts,
    _balance,
    _lash_ramp,
    _pushrods,
    _retainer_to_seal,
    _spring_surge,
    _spring_margin,
    _piston_speed,
    _quench,
    _effective_ratio,
    _spring_travel,
    _implausibly_high,
    _timing,
    _rev_limiter,
    _breathing,
    _fuel_pump_pressure,
    _restrictor,
    _clearances,
    _parts,
)
