"""The specification of an engine in the order in which the trade writes it: bottom end, top end, cam."""

from __future__ import annotations

from dataclasses import replace

from builder.figures.core.display_units import mean_quantity, written_text
from builder.figures.core.types import LISTED, PROVENANCE_TEXTS, Figure, FigureSheet
from builder.publish.sheets.record_rows import LabelledValue, labelled
from builder.record.models.build import Build
from builder.record.models.cam import LobeCard
from builder.record.quantities.digits import rounded
from builder.record.quantities.readings import Reading


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
            ("Ignition", build.get("top_end.ignition")),
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
        ("Drive", build.get("cam.drive")),
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
    return _text(*(build.get(f"{path}.{name}") for name in fields))


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
