"""The shop's guidelines held against a build: what deserves a second look. Breaking one is never an error."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from builder.figures.core import display_units
from builder.figures.core.types import Caution, Figure, FigureSheet
from builder.figures.definitions.cam_readings import lift_of
from builder.figures.review.clearance_checks import FIGURE_OF_CHECK, CheckedClearance
from builder.figures.review.guideline_defaults import (
    COMMON_PRACTICE,
    SHOP_RULE,
    crank_guideline,
    effective_ratio_guideline,
    guideline_value,
    piston_speed_guideline,
)
from builder.record.models.build import Build
from builder.record.models.shop import Shop

_SET_IN = "set in shop.yaml, guidelines"
_NEAR_SEAT = 0.55e-3
"""Timing taken at more lift [m] than this says too little of when the valve really shuts."""
_SOURCES_TO_CHECK = {"used", "customer's own", "swap meet", "mixed lot"}

Rule = Callable[[Build, Shop, FigureSheet], Iterator[Caution]]


def build_cautions(build: Build, shop: Shop, sheet: FigureSheet) -> tuple[Caution, ...]:
    """Every guideline that a build breaks, each with whose rule it is."""
    return tuple(caution for rule in _RULES for caution in rule(build, shop, sheet))


def _crank(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    material, power = build.get("bottom_end.crankshaft.material"), sheet.get("peak_power")
    trusted = crank_guideline(shop, material) if material else None
    if trusted is None or trusted.power is None or power is None or power.value <= trusted.power:
        return
    up_to = display_units.POWER.text(trusted.power, sheet.system)
    strength = f" ({trusted.strength.replace('psi', 'psi tensile')})" if trusted.strength else ""
    limit = f"up to {up_to}" if trusted.text != "less than nodular iron" else f"less than nodular iron, {up_to}"
    yield Caution(
        "peak_power",
        f"The crankshaft is of {material}{strength} and the engine makes {power.display}",
        f"{SHOP_RULE if trusted.set_by_shop else COMMON_PRACTICE}: {limit}; shops differ widely here, and it is {_SET_IN}.crank_power",
        build.where("bottom_end.crankshaft.material"),
    )


def _piston_speed(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    kind, figure = build.get("bottom_end.pistons.type"), sheet.get("mean_piston_speed")
    rule = piston_speed_guideline(shop, kind) if kind else None
    at = next((p for p in figure.positions if p.label == "at the red line"), None) if figure else None
    if rule is None or at is None or at.value <= rule.value:
        return
    yield Caution(
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
    low, high = _extremes(figure)
    where = next((known.where for known in figure.inputs if known.where), None)
    if low[0] < least.value:
        said = "the crown stands above the head's face" if low[0] < 0 else "piston and head may touch at speed"
        yield Caution(
            "quench", f"Quench is {low[1]}: {said}", f"{least.authority}: at least {least.text_in(sheet.system)}", where
        )
    if high[0] > most.value:
        said = f"Quench is {high[1]}: too wide to stir the charge"
        yield Caution("quench", said, f"{most.authority}: at most {most.text_in(sheet.system)}", where)


def _extremes(figure: Figure) -> tuple[tuple[float, str], tuple[float, str]]:
    """Least and most of a figure: value, and text with the position."""
    least, most = figure.minimum, figure.maximum
    if least is None or most is None or len(figure.positions) == 1:
        alone = (figure.value, figure.display)
        return alone, alone
    return (
        (least.value, f"{least.display} at {figure.axis} {least.label}"),
        (most.value, f"{most.display} at {figure.axis} {most.label}"),
    )


def _effective_ratio(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    engine, figure = build.build.engine, sheet.get("effective_compression_ratio")
    if figure is None or engine.fuel is None or engine.induction not in (None, "natural"):
        return
    rule = effective_ratio_guideline(shop, engine.fuel.kind)
    near_seat = [p for p in figure.positions if (lift_of(p.label) or 0.0) <= _NEAR_SEAT]
    if rule is None or not near_seat:
        return
    at = min(near_seat, key=lambda p: lift_of(p.label) or 0.0)
    if at.value > rule.value:
        lift = "the seat" if at.label == "seat" else at.label
        yield Caution(
            "effective_compression_ratio",
            f"With timing at {lift} the effective compression ratio is {at.display} on {engine.fuel.kind}",
            f"{rule.authority}: up to {rule.text}, by timing at the seat or near it",
            build.where("build.engine.fuel"),
        )


def _spring_travel(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    """Coil bind as computed; where it was measured, the check itself is judged."""
    figure, rule = sheet.get("coil_bind_clearance"), guideline_value(shop, "least_coil_bind")
    if figure is None or build.get("assembly.checks.coil_bind") is not None or figure.value >= rule.value:
        return
    where = next((known.where for known in figure.inputs if known.where), None)
    said = f"The valve springs have {figure.display} of travel left at full lift"
    yield Caution("coil_bind_clearance", said, f"{rule.authority}: at least {rule.text_in(sheet.system)}", where)


def _implausibly_high(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    engine = build.build.engine
    if engine.induction not in (None, "natural") or engine.cycle != "four-stroke":
        return
    for slug, name, unit in (
        ("bmep", "most_bmep_natural", "Bmep"),
        ("volumetric_efficiency", "most_volumetric_efficiency", "Volumetric efficiency"),
    ):
        figure, rule = sheet.get(slug), guideline_value(shop, name)
        if figure is not None and figure.value > rule.value:
            limit = figure.method.display_unit.text(rule.value, sheet.system)
            yield Caution(
                slug,
                f"{unit} of {figure.display} is more than natural induction is known to give: "
                "look at the dyno's calibration and the correction",
                f"{rule.authority}: up to {limit}",
            )


def _timing(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    total, rule = build.get("delivery.settings.total_timing"), guideline_value(shop, "most_timing")
    if total is None or build.build.engine.ignition != "spark" or total.si <= rule.value:
        return
    path = "delivery.settings.total_timing"
    said = f"Total timing is set to {total.text}"
    yield Caution(path, said, f"{rule.authority}: up to {rule.text}", build.where(path))


def _breathing(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    duty, rule = sheet.get("injector_duty"), guideline_value(shop, "most_injector_duty")
    if duty is not None and duty.value > rule.value:
        limit = f"{rule.authority}: at most {display_units.WHOLE_PERCENT.text(rule.value, sheet.system)}"
        yield Caution("injector_duty", f"The injectors stand open {duty.display} of the time", limit)
    headroom, rule = sheet.get("induction_headroom"), guideline_value(shop, "least_induction_headroom")
    if headroom is not None and headroom.value < rule.value:
        said = f"The induction passes {headroom.display} of the air the engine asks for"
        yield Caution("induction_headroom", said, f"{rule.authority}: at least {rule.text}")


def _clearances(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    for fit in sheet.clearances:
        if not fit.passes:
            yield Caution(_slug_of(fit), fit.violation_text, fit.rule_text, fit.where)


def _slug_of(fit: CheckedClearance) -> str:
    """The figure that a judged fit belongs to, or its path where it has none."""
    name = fit.path.rpartition(".")[2]
    return FIGURE_OF_CHECK.get(name, fit.path)


def _parts(build: Build, shop: Shop, sheet: FigureSheet) -> Iterator[Caution]:
    for index, part in enumerate(build.parts.parts if build.parts else ()):
        if part.never_checked and part.source in _SOURCES_TO_CHECK:
            path = f"parts.parts.{index}"
            said = f"Nobody checked this part before it went in: {part.part} ({part.source})"
            yield Caution(path, said, "", build.where(path))


_RULES: tuple[Rule, ...] = (
    _crank,
    _piston_speed,
    _quench,
    _effective_ratio,
    _spring_travel,
    _implausibly_high,
    _timing,
    _breathing,
    _clearances,
    _parts,
)
