"""The specification of an engine in the order in which the trade writes it: bottom end, top end, cam."""

from __future__ import annotations

from dataclasses import replace

from builder.figures.core.display_units import mean_quantity, written_mean, written_text
from builder.figures.core.types import LISTED, PROVENANCE_TEXTS, TYPICAL, Figure, FigureSheet
from builder.publish.sheets.record_rows import LabelledValue, labelled
from builder.record.models.build import Build
from builder.record.models.cam import LobeCard
from builder.record.quantities.digits import rounded
from builder.record.quantities.readings import Reading, as_written
from builder.record.quantities.units import Quantity


def specification(build: Build, sheet: FigureSheet, both: bool) -> tuple[LabelledValue, ...]:
    """Return the specification without the cam, as far as it was recorded; with ``both``, in both systems of units."""

    def figures(*slugs: str) -> tuple[LabelledValue, ...]:
        return tuple(_labelled_figure(figure, both) for slug in slugs if (figure := sheet.get(slug)) is not None)

    engine = build.build.engine
    fuel = engine.fuel
    return (
        *labelled(("Bore × stroke", _product(build, "bottom_end.block.bores", "bottom_end.crankshaft.stroke"))),
        *figures("displacement", "compression_ratio", "effective_compression_ratio", "deck_clearance", "quench"),
        *labelled(
            ("Chamber volume", _mean(build, "top_end.heads.chambers")),
            ("Rod length", _mean(build, "bottom_end.rods.length")),
            ("Pistons", _part(build, "bottom_end.pistons", "maker", "number", "type")),
            ("Rings", _part(build, "bottom_end.rings", "maker", "number")),
            ("Bearings", _part(build, "bottom_end.bearings", "maker", "main_number", "rod_number")),
            ("Crankshaft", _part(build, "bottom_end.crankshaft", "maker", "number", "material")),
            ("Cylinder heads", _part(build, "top_end.heads", "maker", "casting", "material")),
            (
                "Valves, in / ex",
                _pair(build, "top_end.heads.intake_valve.diameter", "top_end.heads.exhaust_valve.diameter"),
            ),
            ("Head gasket", _gasket(build)),
            ("Springs", _part(build, "top_end.springs", "maker", "number", "kind")),
            ("Spring height", _mean(build, "top_end.springs.installed_height")),
        ),
        *figures("seat_load", "open_load"),
        *labelled(
            ("Rocker ratio", _mean(build, "top_end.rockers.ratio")),
            ("Induction", build.get("top_end.induction.description") or _text(engine.fuel_system, engine.induction)),
            ("Intake manifold", _manifold(build)),
            ("Carburetor", _carburetor(build)),
            ("Ignition", _part(build, "top_end.ignition", "kind", "description", "maker", "number", "box", "coil")),
            ("Rev limiter", _value(build, "top_end.ignition.rev_limiter")),
            ("Exhaust", _exhaust(build)),
            ("Oil system", _oil_system(build)),
            ("Firing order", engine.firing_order),
            ("Red line", written_text(engine.red_line) if engine.red_line else None),
            ("Fuel", _text(fuel.kind, fuel.octane) if fuel else None),
        ),
    )


def cam_rows(build: Build, sheet: FigureSheet) -> tuple[LabelledValue, ...]:
    """Return the cam: what the card says, and how it was installed."""
    intake, exhaust = build.get("cam.card.intake"), build.get("cam.card.exhaust")
    return labelled(
        ("Cam", _part(build, "cam.card", "maker", "number", "grind")),
        *_durations(intake, exhaust),
        ("Lobe lift, in / ex", _pair(build, "cam.card.intake.lobe_lift", "cam.card.exhaust.lobe_lift")),
        ("Valve lift, in / ex", _pair(build, "cam.card.intake.valve_lift", "cam.card.exhaust.valve_lift")),
        ("Lobe separation", _figure(sheet, "lobe_separation")),
        ("Installed, in / ex", _slashed(_figure(sheet, "installed_centerline"), _figure(sheet, "exhaust_centerline"))),
        ("Advance", _figure(sheet, "cam_advance")),
        ("Set by", build.get("cam.installed.note")),
        ("Lifters", _part(build, "cam.lifters", "maker", "number", "kind")),
        ("Drive", _cam_drive(build)),
    )


def _labelled_figure(figure: Figure, both: bool = True) -> LabelledValue:
    """Return a figure with its range over the positions, its cautions, and how it is known."""
    remarks = []
    low, high = figure.minimum, figure.maximum
    if low and high and low.display != high.display and not figure.range_text:
        axis = f"{figure.axis} " if low.label.isdigit() else ""
        if len(figure.positions) <= 3 and not axis:
            remarks.append(", ".join(f"{position.label} {position.display}" for position in figure.positions))
        else:
            remarks.append(f"{low.display} ({axis}{low.label}) to {high.display} ({axis}{high.label})")
    remarks += figure.cautions
    alternate = (figure.alternate_text or "") if both else ""
    provenance = PROVENANCE_TEXTS[LISTED] if figure.is_reading and figure.provenance == LISTED else ""
    if figure.provenance == TYPICAL:
        provenance = "from a typical value"
    return LabelledValue(figure.title, figure.display_with_range, alternate, tuple(remarks), provenance)


def _figure(sheet: FigureSheet, slug: str) -> str | None:
    figure = sheet.get(slug)
    return figure.display if figure else None


def _mean(build: Build, path: str) -> str | None:
    """Return the mean of a reading with no more decimals than the readings have."""
    reading = build.get(path)
    if not isinstance(reading, Reading) or not reading.preferred:
        return None
    mean = mean_quantity(reading)
    if len(reading.preferred) > 1:
        decimals = min(len(quantity.number.partition(".")[2]) for quantity in reading.preferred)
        mean = replace(mean, number=rounded(float(mean.number), decimals))
    return written_text(mean)


def _product(build: Build, first: str, second: str) -> str | None:
    texts = (_mean(build, first), _mean(build, second))
    return " × ".join(text or "not recorded" for text in texts) if any(texts) else None


def _pair(build: Build, first: str, second: str) -> str | None:
    return _slashed(_mean(build, first), _mean(build, second))


def _slashed(first: str | None, second: str | None) -> str | None:
    """Return two values of intake and exhaust as `9.60 mm / 9.60 mm`; a dash for one that was not recorded."""
    return f"{first or '–'} / {second or '–'}" if first or second else None


def _part(build: Build, path: str, *fields: str) -> str | None:
    return _text(*(as_written(value) for name in fields if (value := build.get(f"{path}.{name}")) is not None))


def _value(build: Build, path: str, before: str = "", after: str = "") -> str | None:
    """Return a reading or a value as text with words around it; None where it was not recorded."""
    value = build.get(path)
    text = _mean(build, path) if isinstance(value, Reading) else written_text(value) if value is not None else None
    return " ".join(filter(None, (before, text, after))) if text else None


def _size(build: Build, path: str, name: str) -> str | None:
    """Return diameter and length of a pipe as `primaries 1.625 in × 32 in`."""
    sizes = (_mean(build, f"{path}_diameter"), _mean(build, f"{path}_length"))
    text = " × ".join(filter(None, sizes))
    return f"{name} {text}" if text else None


def _manifold(build: Build) -> str | None:
    path = "top_end.induction.manifold"
    rpm_range = build.get(f"{path}.rpm_range")
    return _text(
        _part(build, path, "kind", "description", "maker", "number"),
        f"{rpm_range.minimum.number} to {written_text(rpm_range.maximum)}" if rpm_range else None,
        _size_of_runner(build),
    )


def _size_of_runner(build: Build) -> str | None:
    path = "top_end.induction.manifold"
    sizes = (_mean(build, f"{path}.runner_area"), _mean(build, f"{path}.runner_length"))
    text = " × ".join(filter(None, sizes))
    return f"runners {text}" if text else None


def _carburetor(build: Build) -> str | None:
    path = "top_end.induction.carburetor"
    count, barrels = build.get(f"{path}.count"), build.get(f"{path}.barrels")
    jets = (_value(build, f"{path}.main_jet"), _value(build, f"{path}.secondary_jet"))
    return _text(
        f"qty {count}" if count and count > 1 else None,
        f"{barrels}-barrel" if barrels else None,
        build.get(f"{path}.description"),
        _value(build, f"{path}.rated_flow", after="each" if count and count > 1 else ""),
        _value(build, f"{path}.bore", "bore"),
        _value(build, f"{path}.venturi", "venturi"),
        f"jets {' / '.join(filter(None, jets))}" if any(jets) else None,
    )


def _exhaust(build: Build) -> str | None:
    path = "top_end.exhaust"
    return _text(
        _part(build, path, "kind", "layout"),
        _size(build, f"{path}.primary", "primaries"),
        _size(build, f"{path}.secondary", "secondaries"),
        _size(build, f"{path}.collector", "collector"),
        _value(build, f"{path}.pipe_diameter", "pipe"),
        _part(build, path, "muffler", "description"),
    )


def _oil_system(build: Build) -> str | None:
    path = "bottom_end.oil_system"
    return _text(
        _value(build, f"{path}.pan_capacity", "pan holds"),
        _value(build, f"{path}.pickup_clearance", "pickup", "off the floor"),
        _part(build, path, "pump", "maker", "number", "description", "pan"),
    )


def _cam_drive(build: Build) -> str | None:
    path = "cam.drive"
    return _text(
        _part(build, path, "kind", "description", "maker", "number"),
        f"keyway {keyway}" if (keyway := build.get(f"{path}.keyway")) else None,
        _value(build, f"{path}.offset", "offset"),
    )


def _text(*parts: str | None) -> str | None:
    return ", ".join(filter(None, parts)) or None


def _gasket(build: Build) -> str | None:
    size = " × ".join(filter(None, (_mean(build, "top_end.gasket.bore"), _mean(build, "top_end.gasket.thickness"))))
    return _text(build.get("top_end.gasket.maker"), build.get("top_end.gasket.number"), size)


def _durations(intake: LobeCard | None, exhaust: LobeCard | None) -> list[tuple[str, str | None]]:
    """Return a line for every lift at which the card gives a duration: intake and exhaust."""
    by_lift: dict[str, list[str | None]] = {}
    for side, card in enumerate((intake, exhaust)):
        for entry in card.durations if card else ():
            by_lift.setdefault(entry.at, [None, None])[side] = written_text(entry.duration)
    return [(f"Duration at {lift}", _slashed(*pair)) for lift, pair in by_lift.items()]


def short_specification(build: Build, sheet: FigureSheet, both: bool) -> tuple[LabelledValue, ...]:
    """Return the engine in some fourteen lines, in the order a shop would say it; what was not recorded is left out."""
    settings = build.delivery.settings if build.delivery else None
    engine, ratio = build.build.engine, sheet.get("compression_ratio")
    fuel = engine.fuel
    fluids = build.delivery.fluids if build.delivery else ()
    oil = next((fluid for fluid in fluids if fluid.what.casefold() in ("oil", "engine oil")), None)
    total = _with_words(settings.total_timing, "by", settings.total_timing_by) if settings else None
    idle = _with_words(settings.idle_timing, "at idle") if settings else None
    red_line = engine.red_line
    return (
        *labelled(("Bore × stroke", _product(build, "bottom_end.block.bores", "bottom_end.crankshaft.stroke"))),
        *((_labelled_figure(ratio, both),) if ratio else ()),
        *labelled(
            ("Cam", _cam_line(build, sheet)),
            ("Heads", _heads_line(build)),
            ("Ports", _ports_line(sheet)),
            ("Induction", build.get("top_end.induction.description") or _text(engine.fuel_system, engine.induction)),
            ("Manifold", _manifold(build)),
            ("Exhaust", _exhaust(build)),
            ("Fuel", _text(fuel.kind, fuel.octane) if fuel else None),
            ("Ignition timing", _text(total, idle)),
            ("Lash, in / ex", _slashed(settings.intake_lash, settings.exhaust_lash) if settings else None),
            ("Spark plug", _text(settings.plug, _with_words(settings.plug_gap, "gap")) if settings else None),
            ("Firing order", engine.firing_order),
            ("Red line", written_text(red_line) if red_line else None),
            ("Rev limiter", _value(build, "top_end.ignition.rev_limiter")),
            ("Oil", _text(oil.grade, written_mean(oil.amount) if oil.amount else None) if oil else None),
        ),
    )


def _with_words(value: Quantity | None, *words: str | Quantity | None) -> str | None:
    """Return a value with words behind it: `34° by 3000 rpm`, `12° at idle`."""
    if value is None or None in words:
        return written_text(value) if value else None
    return " ".join(written_text(word) if isinstance(word, Quantity) else str(word) for word in (value, *words))


def _cam_line(build: Build, sheet: FigureSheet) -> str | None:
    durations = _durations(build.get("cam.card.intake"), build.get("cam.card.exhaust"))
    duration = next(((title, text) for title, text in reversed(durations) if text), None)
    lift, separation = sheet.get("valve_lift"), sheet.get("lobe_separation")
    installed = _figure(sheet, "installed_centerline")
    lifts = {position.label: position.display for position in lift.positions} if lift else {}
    both = _slashed(lifts.get("intake"), lifts.get("exhaust"))
    return _text(
        build.get("cam.lifters.kind"),
        f"{duration[1]} {duration[0].removeprefix('Duration ')}" if duration else None,
        f"{both} lift" if both else None,
        f"{separation.display} lobe separation" if separation else None,
        f"in at {installed}" if installed else None,
    )


def _heads_line(build: Build) -> str | None:
    valves = _pair(build, "top_end.heads.intake_valve.diameter", "top_end.heads.exhaust_valve.diameter")
    flow = build.get("top_end.heads.flow_bench.intake") or ()
    best = max(flow, key=lambda point: point.flow.si, default=None)
    return _text(
        build.get("top_end.heads.material"),
        f"valves {valves}" if valves else None,
        f"intake flow {written_text(best.flow)} at {written_text(best.lift)}" if best else None,
    )


def _ports_line(sheet: FigureSheet) -> str | None:
    exhaust, transfer = _figure(sheet, "exhaust_port_duration"), _figure(sheet, "transfer_port_duration")
    return _text(f"exhaust {exhaust}" if exhaust else None, f"transfer {transfer}" if transfer else None)
