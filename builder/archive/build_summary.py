"""The summary of a build, from its record and its figures."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import msgspec

from builder.archive.engine_build import EngineBuild
from builder.archive.engine_dyno import DynoState
from builder.archive.engine_record import engine_build
from builder.archive.summary import NOT_CORRECTED, NOTED_RESULT, CoarseCurve, PartSummary, Summary, coarse_curve
from builder.engine.constants import INCH
from builder.engine.correction import OBSERVED, STANDARDS
from builder.engine.power import bmep
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.dyno.engine_state import EngineState
from builder.figures.evaluate import compute_some
from builder.record.models.build import Build
from builder.record.models.build_yaml import FUEL_FAMILIES
from builder.record.models.parts import Part as ReceivedPart
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, parse_quantity
from builder.record.redaction import without_private

_CAM_LIFTS = {"050": 0.050 * INCH, "1mm": 0.001}
_SEAT_LIFT = 0.0061 * INCH
"""Timing at no more lift [m] than this is seat timing: cards give it at the seat or at 0.006 in (common practice)."""
_BENCH_DEPRESSION = "28 inH2O"
"""Head flows are compared at this depression."""
_RATING_DEPRESSION = "1.5 inHg"
"""Ratings of carburetors and throttles are compared at this depression."""


SUMMARY_FIGURES = (
    "displacement", "compression_ratio", "effective_compression_ratio", "lobe_separation", "cam_advance", "valve_lift",
    "peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed", "bmep", "specific_power", "mean_piston_speed",
)  # fmt: skip
"""The figures that a summary is made of."""
_MAX_NAME_LENGTH = 120


_STATE_POINTS = 81
"""Points of the curves of an engine that returns: close enough that a mean over them is that of the full curve."""


def summary_of_record(build: Build, shop: Shop) -> Summary:
    """Return the summary of a build as read, from its record without private fields and the figures that it needs."""
    public = without_private(build)
    return summarize_build(public, compute_some(public, shop, SUMMARY_FIGURES), shop)


def summary_of_plan(build: Build, shop: Shop) -> Summary:
    """Return the summary of an unfinished build as a plan: with what is wanted where nothing is known yet."""
    summary = summary_of_record(build, shop)
    wanted: dict[str, Any] = {s: value for s, value in wanted_values(build).items() if getattr(summary, s) is None}
    return replace(summary, **wanted)


def wanted_values(build: Build) -> dict[str, float]:
    """Return compression ratio and displacement [m3] as wanted by the customer's goals, else as stated in build.yaml.

    Of a range it is the middle.
    """
    engine, goals = build.build.engine, build.build.goals
    stated = {
        "compression_ratio": engine.compression_wanted,
        "displacement": engine.displacement.si if engine.displacement else None,
    }
    wanted = {slug: value for slug, value in stated.items() if value is not None}
    for target in goals.read_targets if goals else ():
        slug = target.quantity.replace(" ", "_")
        ends = [end for end in (target.minimum, target.maximum) if end is not None and math.isfinite(end)]
        if slug in stated and ends:
            wanted[slug] = sum(ends) / len(ends)
    return wanted


def summarize_build(build: Build, sheet: FigureSheet, shop: Shop) -> Summary:
    """Return the summary of a build from which the private fields were removed; the shop has its instruments."""
    record, engine = build.build, build.build.engine
    date = record.finished.isoformat() if record.finished else None
    return Summary(
        slug=build.slug,
        title=record.title,
        number=record.number,
        date=date,
        year=record.finished.year if record.finished else None,
        family=record.family,
        purpose=record.purpose,
        cycle=str(engine.cycle),
        cylinders=engine.cylinders,
        displacement=sheet.value("displacement") or _si(engine.displacement),
        bore=_mean_of(build, "bottom_end.block.bores"),
        stroke=_mean_of(build, "bottom_end.crankshaft.stroke"),
        **_compression(build, sheet),
        effective_compression_ratio=_at_seat(sheet.get("effective_compression_ratio")),
        **_durations(build),
        lobe_separation=sheet.value("lobe_separation"),
        cam_advance=sheet.value("cam_advance"),
        valve_lift=sheet.value("valve_lift"),
        head_flow=head_flow(build),
        valve_diameter=_mean_of(build, "top_end.heads.intake_valve.diameter"),
        induction=_word(engine.induction),
        fuel_system=_word(engine.fuel_system),
        fuel=_word(engine.fuel.kind if engine.fuel else None),
        fuel_family=FUEL_FAMILIES[engine.fuel.kind] if engine.fuel else None,
        octane=" ".join(engine.fuel.octane.split()) if engine.fuel and engine.fuel.octane else None,
        ignition=str(engine.ignition),
        manifold=_word(build.get("top_end.induction.manifold.kind")),
        rated_flow=rated_flow(build),
        primary_diameter=_mean_of(build, "top_end.exhaust.primary_diameter"),
        ignition_system=_word(build.get("top_end.ignition.kind")),
        **_results(build, sheet),
        piston_speed_at_peak_power=_position(sheet.get("mean_piston_speed"), "at peak power"),
        curve=_curve(sheet),
        parts=tuple(
            PartSummary(part.maker or "", part.number or "", part.part, None if part.never_checked else _verdict(part))
            for part in (build.parts.parts if build.parts else ())
        ),
        cam=_name(build.get("cam.card.maker"), build.get("cam.card.number")),
        heads=_name(build.get("top_end.heads.maker"), build.get("top_end.heads.casting")),
        carburetor=_induction_name(build),
        status=None if record.status == "finished" else str(record.status),
        system=sheet.system,
        engine=_engine_build(build, sheet, shop),
        words=" ".join(filter(None, (record.summary, record.goals.text if record.goals else None, *_notes(build)))),
    )


def _compression(build: Build, sheet: FigureSheet) -> dict[str, Any]:
    """Return the compression ratio: calculated, else the one that the shop noted."""
    ratio = sheet.value("compression_ratio")
    if ratio is not None:
        return {"compression_ratio": ratio, "compression_source": "calculated"}
    noted = build.build.engine.compression_noted
    return {} if noted is None else {"compression_ratio": noted, "compression_source": "noted"}


_RESULTS = ("peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed", "bmep", "specific_power")


def _results(build: Build, sheet: FigureSheet) -> dict[str, Any]:
    """Return the peaks of the engine as delivered: those of its pulls, else those that the shop noted."""
    noted = build.get("dyno.noted_result")
    session = sheet.session
    if session is not None and session.delivered is not None:
        return {
            "result_source": "dyno log",
            "correction": session.standard.name if session.is_corrected else NOT_CORRECTED,
            **{slug: sheet.value(slug) for slug in _RESULTS},
        }
    if noted is None:
        return {}
    torque, power, displacement = (
        _si(noted.torque),
        _si(noted.power),
        sheet.value("displacement") or _si(build.build.engine.displacement),
    )
    return {
        "result_source": NOTED_RESULT,
        "correction": _noted_correction(noted.correction),
        "peak_torque": torque,
        "peak_torque_speed": _si(noted.torque_at),
        "peak_power": power,
        "peak_power_speed": _si(noted.power_at),
        "bmep": float(bmep(torque, displacement, build.revolutions_per_cycle)) if torque and displacement else None,
        "specific_power": power / displacement if power and displacement else None,
    }


def _noted_correction(slug: str | None) -> str:
    """Return the standard of a result that was only noted."""
    standard = STANDARDS.get(slug or "")
    if standard is OBSERVED:
        return NOT_CORRECTED
    return standard.name if standard else "not known"


def _si(quantity: Quantity | None) -> float | None:
    return quantity.si if quantity is not None else None


def _name(*parts: str | None) -> str | None:
    """Return a maker and a part number as one text on one line; None where neither is given."""
    text = " ".join(" ".join(filter(None, parts)).split())
    if not text:
        return None
    return text if len(text) <= _MAX_NAME_LENGTH else f"{text[: _MAX_NAME_LENGTH - 1]}…"


def _induction_name(build: Build) -> str | None:
    """Return the carburetor or injection: its description, with maker and part number after it."""
    part = _name(build.get("top_end.induction.maker"), build.get("top_end.induction.number"))
    description = build.get("top_end.induction.description")
    return _name(description, f"({part})" if part and description else part)


def _engine_build(build: Build, sheet: FigureSheet, shop: Shop) -> EngineBuild | None:
    """Return what a build adds to its engine's history, with the states of the engine on the dyno."""
    engine, session = engine_build(build, shop), sheet.session
    if engine is None or session is None:
        return engine
    date = build.dyno.date.isoformat() if build.dyno and build.dyno.date else None
    before = session.before_after.before if session.before_after else None
    return msgspec.structs.replace(
        engine,
        before=_dyno_state(before, date) if before else None,
        as_delivered=_dyno_state(session.delivered, date) if session.delivered else None,
    )


def _dyno_state(state: EngineState, date: str | None) -> DynoState | None:
    curve = coarse_curve(state.corrected.speed, state.corrected.torque, _STATE_POINTS)
    if curve is None:
        return None
    peaks = state.peaks
    return DynoState(
        name=state.label,
        standard=state.pulls[0].standard.name,
        start=curve.start,
        step=curve.step,
        torque=curve.torque,
        peak_torque=peaks.torque.value,
        peak_torque_speed=peaks.torque.speed,
        peak_power=peaks.power.value,
        peak_power_speed=peaks.power.speed,
        scatter=state.scatter.relative,
        freedom=state.scatter.freedom,
        pulls=len(state.averaged_pulls),
        date=date,
        shared=state.shared,
    )


def _word(choice: str | None) -> str | None:
    """Return a choice in its normal form as plain text."""
    return None if choice is None else str(choice)


def _verdict(part: ReceivedPart) -> str | None:
    """Return the verdict on receipt; for a rejected part, also in which direction its measurement was off."""
    if part.verdict not in ("returned", "scrapped"):
        return _word(part.verdict)
    for check in part.checked:
        reading = check.reading
        if reading is not None and reading.listed is not None and reading.is_measured:
            difference = float(reading.values.mean()) - reading.listed.si
            if abs(difference) > reading.listed.step:
                directions = ("long", "short") if reading.dimension == "length" else ("over", "under")
                return f"measured {directions[difference < 0]} and {part.verdict}"
    return _word(part.verdict)


def head_flow(build: Build) -> float | None:
    """Return the highest intake flow of the flow bench, converted to 28 inH2O [m3/s]."""
    from builder.engine.breathing import flow_at_depression

    bench = build.get("top_end.heads.flow_bench")
    if bench is None or not bench.intake or bench.depression is None:
        return None
    flow = max(point.flow.si for point in bench.intake)
    return float(flow_at_depression(flow, bench.depression.si, parse_quantity(_BENCH_DEPRESSION, "pressure").si))


def rated_flow(build: Build) -> float | None:
    """Return the rated flow of carburetors or throttles, converted to 1.5 inHg [m3/s]; None without its depression."""
    from builder.engine.breathing import flow_at_depression

    flow, depression = build.get("top_end.induction.rated_flow"), build.get("top_end.induction.rated_depression")
    if flow is None or depression is None:
        return None
    return float(flow_at_depression(flow.si, depression.si, parse_quantity(_RATING_DEPRESSION, "pressure").si))


def _mean_of(build: Build, path: str) -> float | None:
    value = build.get(path)
    if isinstance(value, Reading):
        return float(value.values.mean()) if value.preferred else None
    return value.si if isinstance(value, Quantity) else None


def _position(figure: Figure | None, label: str) -> float | None:
    if figure is None:
        return None
    return next((position.value for position in figure.positions if position.label == label), None)


def _at_seat(figure: Figure | None) -> float | None:
    """Return a figure's value with seat timing; at another lift it is another number and compares with nothing."""
    at_seat = [p for p in figure.positions if p.place is not None and p.place <= _SEAT_LIFT] if figure else []
    return min(at_seat, key=lambda position: position.place or 0.0).value if at_seat else None


def _durations(build: Build) -> dict[str, Any]:
    by_field: dict[str, Any] = {}
    for side in ("intake", "exhaust"):
        durations = build.get(f"cam.card.{side}.durations") or ()
        for name, lift in _CAM_LIFTS.items():
            matches = [d.duration.si for d in durations if abs(d.lift - lift) < 1e-6]
            by_field[f"{side}_duration_{name}"] = matches[0] if matches else None
    return by_field


def _curve(sheet: FigureSheet) -> CoarseCurve | None:
    delivered = sheet.session.delivered if sheet.session else None
    return coarse_curve(delivered.corrected.speed, delivered.corrected.torque) if delivered is not None else None


def _notes(build: Build) -> list[str]:
    return [note for path in ("assembly.note", "dyno.note", "delivery.note") if (note := build.get(path))]
