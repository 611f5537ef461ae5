"""Cross-checks of block, crankshaft, rods, pistons and bearings."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from builder.engine import fasteners, geometry
from builder.figures.definitions.what_if import WhatIf
from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, compare
from builder.figures.review.cross_checks.operand import Operand, Source, combine
from builder.figures.review.cross_checks.record_values import RecordValues
from builder.record.models.work import BoreCylinder, Operation
from builder.record.quantities.readings import Reading
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import factor

define = CrossChecks()

BORES = "bottom_end.block.bores"
STANDARD_BORE = "bottom_end.block.standard_bore"
DECK_HEIGHT = "bottom_end.block.deck_height"
PISTONS = "bottom_end.pistons.diameter"
FITS = "assembly.fits"

_GAUGES = "0.012 mm"
"""What a clearance by bore gauge, micrometer or gauging strip differs by from one measurement to the next: common
practice, no source."""
_FINISHED_BORE = "0.06 mm"
"""How far one reading in a bore that is ready for use may be from its diameter: common practice, no source."""


@define.check("deck_clearance", "Deck clearance")
def _deck_clearance(record: RecordValues) -> Comparison:
    parts = (
        record.value(DECK_HEIGHT).mean()
        - record.value("bottom_end.crankshaft.stroke").mean() / 2
        - record.value("bottom_end.rods.length")
        - record.value("bottom_end.pistons.compression_height")
    )
    dial = record.value("bottom_end.deck_clearance")
    return compare(("dial indicator", dial), "equals", ("from the parts", parts), within="0.06 mm")


@define.check("piston_clearance", "Piston clearance")
def _piston_clearance(record: RecordValues) -> Comparison:
    parts = record.value(BORES) - record.value(PISTONS)
    measured = record.value(f"{FITS}.piston_clearance")
    return compare(("as measured", measured), "equals", ("bore less piston", parts), within=_GAUGES)


def _oil_clearance(record: RecordValues, which: str, housing: str, journal: str) -> Comparison:
    shells = record.value(f"bottom_end.bearings.{which}_shell").mean() * 2
    parts = record.value(housing) - shells - record.value(journal)
    measured = record.value(f"{FITS}.{which}_oil_clearance")
    return compare(("as measured", measured), "equals", ("housing less two shells less journal", parts), within=_GAUGES)


@define.check("main_oil_clearance", "Main bearing oil clearance")
def _main_oil_clearance(record: RecordValues) -> Comparison:
    return _oil_clearance(record, "main", "bottom_end.block.main_bores", "bottom_end.crankshaft.main_journals")


@define.check("rod_oil_clearance", "Rod bearing oil clearance")
def _rod_oil_clearance(record: RecordValues) -> Comparison:
    return _oil_clearance(record, "rod", "bottom_end.rods.big_end_bores", "bottom_end.crankshaft.rod_journals")


@define.check("shells", "Bearing shells, housings and journals")
def _shells(record: RecordValues) -> Iterator[Comparison]:
    """Yield journals larger than their housing, and more oil clearance than any bearing, where it was not measured."""
    for which, housing, journal in (
        ("main", "bottom_end.block.main_bores", "bottom_end.crankshaft.main_journals"),
        ("rod", "bottom_end.rods.big_end_bores", "bottom_end.crankshaft.rod_journals"),
    ):
        bore, pin, shell = (record.get(path) for path in (housing, journal, f"bottom_end.bearings.{which}_shell"))
        if bore is None or pin is None:
            continue
        yield compare((f"{which} journal", pin.mean()), "at most", ("its housing", bore.mean()))
        if shell is not None and record.get(f"{FITS}.{which}_oil_clearance") is None:
            room, shells = bore - pin, shell.mean() * 2
            yield compare(("two shells", shells), "at least", ("housing less journal", room), within="0.25 mm")


@define.check("bore_card", "Bore gauge card")
def _bore_card(record: RecordValues) -> Iterator[Comparison]:
    """Yield the bores that lie outside their own gauge card, and the readings on it that are far from the bore."""
    card = record.build.get("work.bore_gauging")
    bores = record.get(BORES)
    if card is None or bores is None:
        return
    advice = "look for a slip on the card or in the list of bores"
    for index, cylinder in enumerate(card.cylinders):
        if bores.values.size not in (1, record.build.cylinders) or cylinder.cylinder > record.build.cylinders:
            continue
        bore = _at(bores, cylinder.cylinder - 1) if bores.values.size > 1 else bores
        readings = _card_readings(record, index, cylinder)
        lowest, highest = (_at(readings, int(pick(readings.values))) for pick in (np.argmin, np.argmax))
        name = f"bore {cylinder.cylinder}"
        yield compare((name, bore), "at least", ("the card's least", lowest), within=_GAUGES, advice=advice)
        yield compare((name, bore), "at most", ("the card's most", highest), within=_GAUGES, advice=advice)
        yield compare(("the card's least", lowest), "at least", (name, bore), within=_FINISHED_BORE, advice=advice)
        yield compare(("the card's most", highest), "at most", (name, bore), within=_FINISHED_BORE, advice=advice)


def _at(operand: Operand, index: int) -> Operand:
    """Return one position of an operand, with the value there."""
    return Operand(
        operand.values[index : index + 1],
        {path: (part[index : index + 1] if part.size > 1 else part) for path, part in operand.uncertainties.items()},
        tuple(
            Source(source.path, source.values[index : index + 1] if len(source.values) > 1 else source.values)
            for source in operand.sources
        ),
        operand.show,
    )


def _card_readings(record: RecordValues, index: int, cylinder: BoreCylinder) -> Operand:
    card = record.build.get("work.bore_gauging")
    scale, _ = factor(card.unit, "length")
    numbers = {
        (row, axis): getattr(depth, axis) for row, depth in enumerate(cylinder.depths) for axis in ("across", "along")
    }
    decimals = max(len(f"{number:.10g}".partition(".")[2]) for number in numbers.values())
    values = tuple(
        record.recorded(
            f"work.bore_gauging.cylinders.{index}.depths.{row}.{axis}",
            f"{number:.{decimals}f}\N{NO-BREAK SPACE}{card.unit}",
            f"gauge card, cylinder {cylinder.cylinder}, {axis}",
        )
        for (row, axis), number in numbers.items()
    )
    step = card.resolution.si if card.resolution else scale * 10.0**-decimals
    path = f"work.bore_gauging.cylinders.{index}"
    return Operand(
        np.array(list(numbers.values())) * scale,
        {path: np.full(len(numbers), step / np.sqrt(12))},
        (Source(path, values),),
        lambda si: f"{si / scale:.{decimals}f}\N{NO-BREAK SPACE}{card.unit}",
    )


@define.check("oversize", "Bore, standard bore and oversize")
def _oversize(record: RecordValues) -> Iterator[Comparison]:
    bore, standard = record.value(BORES).mean(), record.value(STANDARD_BORE)
    oversize = record.get("bottom_end.block.oversize")
    if oversize is not None:
        stated = standard + oversize
        yield compare(("bore", bore), "equals", ("standard bore and oversize", stated), within="0.1 mm")
        return
    yield compare(("bore", bore), "at least", ("standard bore", standard), within="0.05 mm")
    yield compare(("bore", bore), "at most", ("standard bore and 3 mm", standard + 3e-3))


@define.check("displacement", "Displacement")
def _displacement(record: RecordValues) -> Comparison:
    given = record.value("build.engine.displacement")
    count = record.build.cylinders
    computed = combine(
        lambda bore, stroke: count * geometry.swept_volume(bore, stroke),
        record.value(BORES).mean(),
        record.value("bottom_end.crankshaft.stroke").mean(),
    )
    return compare(
        ("as given", given), "equals", ("from bore and stroke", computed.shown_by(given.show)), share=0.01,
        advice="given for the standard bore, perhaps",
    )  # fmt: skip


@define.check("pistons_in_bores", "Pistons and bores")
def _pistons_in_bores(record: RecordValues) -> Iterator[Comparison]:
    bore, piston = record.value(BORES).mean(), record.value(PISTONS).mean()
    yield compare(("piston", piston), "at most", ("bore", bore))
    yield compare(("piston", piston), "at least", ("bore less 1 %", bore * 0.99))


_SHARES_OF_BORE = (
    ("bottom_end.pistons.pin_diameter", "pin", 0.14, 0.5),
    ("bottom_end.pistons.compression_height", "compression height", 0.2, 1.0),
    ("bottom_end.crankshaft.stroke", "stroke", 0.35, 2.0),
    ("bottom_end.rods.length", "rod length", 0.8, 4.0),
    ("bottom_end.crankshaft.main_journals", "main journal", 0.25, 1.0),
    ("bottom_end.crankshaft.rod_journals", "crankpin", 0.25, 0.95),
    ("bottom_end.pistons.top_land.height", "top land", 0.02, 0.25),
    ("bottom_end.pistons.top_land.diametral_clearance", "top land clearance", 0.001, 0.03),
    (f"{FITS}.top_ring_gap", "top ring gap", 0.002, 0.02),
    (f"{FITS}.second_ring_gap", "second ring gap", 0.002, 0.02),
    (f"{FITS}.piston_clearance", "piston clearance", 0.0002, 0.004),
)
"""Field, what it is called, and the least and most of the bore that it is: common practice, no source."""


@define.check("proportions", "Proportions of the cylinder")
def _proportions(record: RecordValues) -> Iterator[Comparison]:
    bore = record.value(BORES).mean()
    for path, name, least, most in _SHARES_OF_BORE:
        part = record.get(path)
        if part is not None:
            low, high = (bore * limit for limit in (least, most))
            yield compare((name, part), "at least", (f"{100 * least:g} % of the bore", low.shown_by(part.show)))
            yield compare((name, part), "at most", (f"{100 * most:g} % of the bore", high.shown_by(part.show)))


@define.check("masses", "Masses of the balance card")
def _masses(record: RecordValues) -> Iterator[Comparison]:
    piston = record.get("bottom_end.pistons.mass")
    if piston is None:
        return
    for path, name, least, most in (
        ("bottom_end.pistons.pin_mass", "pin", 0.08, 0.6),
        ("bottom_end.pistons.ring_mass", "rings", 0.015, 0.2),
        ("bottom_end.rods.mass_small_end", "rod small end", 0.12, 0.9),
        ("bottom_end.rods.mass_big_end", "rod big end", 0.3, 3.0),
        ("bottom_end.balance.bearing_mass", "rod bearing shells", 0.02, 0.4),
    ):
        part = record.get(path)
        if part is not None:
            yield compare((name, part.mean()), "at least", (f"{100 * least:g} % of the piston", piston.mean() * least))
            yield compare((name, part.mean()), "at most", (f"{100 * most:g} % of the piston", piston.mean() * most))


@define.check("rod_bolts", "Rod bolts")
def _rod_bolts(record: RecordValues) -> Iterator[Comparison]:
    """Yield a proof load that no steel has at that thread, and a cap heavier than the big end it is part of.

    Proof stress of bolt steels: 500 to 2000 MPa, common practice, no source.
    """
    proof, size = record.get("bottom_end.rods.bolts.proof_load"), record.build.get("bottom_end.rods.bolts.size")
    thread = parse_thread(size) if size else None
    if proof is not None and thread is not None:
        area = float(fasteners.tensile_stress_area(thread.diameter, thread.pitch, thread.kind))
        least, most = (
            record.constant("bottom_end.rods.bolts.size", size or "", area * stress, proof.show, "thread")
            for stress in (500e6, 2000e6)
        )
        yield compare(("proof load", proof), "at least", (f"500 MPa on {size}", least))
        yield compare(("proof load", proof), "at most", (f"2000 MPa on {size}", most))
    cap, big_end = record.get("bottom_end.rods.mass_cap"), record.get("bottom_end.rods.mass_big_end")
    if cap is not None and big_end is not None:
        yield compare(("rod cap", cap.mean()), "at most", ("rod big end", big_end.mean()))


_SPREADS = (
    ("ports.exhaust.roof", "0.8 mm"),
    ("ports.transfer.roof", "0.8 mm"),
    ("ports.boost.roof", "0.8 mm"),
    (BORES, "0.15 mm"),
    (PISTONS, "0.08 mm"),
    (DECK_HEIGHT, "0.2 mm"),
    ("bottom_end.block.main_bores", "0.06 mm"),
    ("bottom_end.crankshaft.main_journals", "0.15 mm"),
    ("bottom_end.crankshaft.rod_journals", "0.15 mm"),
    ("bottom_end.rods.length", "0.15 mm"),
    ("bottom_end.rods.big_end_bores", "0.06 mm"),
    ("bottom_end.pistons.compression_height", "0.2 mm"),
    ("bottom_end.pistons.pin_diameter", "0.05 mm"),
    ("bottom_end.deck_clearance", "0.4 mm"),
    (f"{FITS}.main_oil_clearance", "0.04 mm"),
    (f"{FITS}.rod_oil_clearance", "0.04 mm"),
    (f"{FITS}.cam_oil_clearance", "0.04 mm"),
    (f"{FITS}.piston_clearance", "0.06 mm"),
    (f"{FITS}.pin_clearance", "0.02 mm"),
    (f"{FITS}.top_ring_gap", "0.15 mm"),
    (f"{FITS}.second_ring_gap", "0.15 mm"),
    (f"{FITS}.ring_side_clearance", "0.05 mm"),
    (f"{FITS}.rod_side_clearance", "0.2 mm"),
    (f"{FITS}.intake_guide_clearance", "0.04 mm"),
    (f"{FITS}.exhaust_guide_clearance", "0.04 mm"),
    ("top_end.springs.installed_height", "1.5 mm"),
    ("assembly.checks.intake_lash", "0.1 mm"),
    ("assembly.checks.exhaust_lash", "0.1 mm"),
)
_SHARE_SPREADS = (
    ("top_end.heads.chambers", 0.05, "1 cc"),
    ("bottom_end.pistons.dish", 0.05, "0.5 cc"),
    ("bottom_end.pistons.dome", 0.05, "0.5 cc"),
    ("bottom_end.pistons.mass", 0.01, "1 g"),
    ("bottom_end.rods.mass_big_end", 0.015, "2 g"),
    ("bottom_end.rods.mass_small_end", 0.015, "2 g"),
    ("assembly.checks.cranking_compression", 0.4, "10 kPa"),
    ("assembly.checks.leak_down", 0.0, "20 %"),
)
"""How far one position of a finished engine may be from the middle of all of them: common practice, no source."""


@define.check("one_position", "One reading far from the others")
def _one_position(record: RecordValues) -> Iterator[Comparison]:
    for path, within in _SPREADS:
        yield from _spread(record, path, within, 0.0)
    for path, share, within in _SHARE_SPREADS:
        yield from _spread(record, path, within, share)
    for index, _ in enumerate(record.build.get("assembly.fasteners") or ()):
        yield from _spread(record, f"assembly.fasteners.{index}.stretch", "0.025 mm", 0.0)


def _spread(record: RecordValues, path: str, within: str, share: float) -> Iterator[Comparison]:
    operand = record.get(path)
    if operand is None or operand.values.size < 2:
        return
    middle = Operand(np.array([float(np.median(operand.values))]), {}, (), operand.show)
    if operand.values.size == 2:  # the middle of two is half as far away as the other one
        sources = tuple(Source(source.path, source.values[::-1]) for source in operand.sources)
        middle = Operand(operand.values[::-1].copy(), {}, sources, operand.show)
    yield compare(
        (record.label(path), operand), "equals", ("middle of the others", middle), within=within, share=share,
        advice="look for a slip in this one number",
    )  # fmt: skip


_SOLID_PARTS = (
    ("bottom_end.crankshaft.stroke", "1.5 mm"),
    ("bottom_end.rods.length", "1.5 mm"),
    ("bottom_end.pistons.diameter", "0.3 mm"),
    ("bottom_end.crankshaft.main_journals", "1.6 mm"),
    ("bottom_end.crankshaft.rod_journals", "1.6 mm"),
    ("bottom_end.bearings.main_shell", "0.6 mm"),
    ("bottom_end.bearings.rod_shell", "0.6 mm"),
    (DECK_HEIGHT, "3 mm"),
    ("top_end.springs.installed_height", "3 mm"),
    ("top_end.gasket.thickness", "0.3 mm"),
)
"""How far a part measured may be from its catalog value and still be that part: common practice, no source."""
_SOLID_SHARES = (
    ("bottom_end.pistons.compression_height", 0.06),
    ("top_end.rockers.ratio", 0.04),
    ("top_end.heads.chambers", 0.15),
    ("bottom_end.pistons.dish", 0.4),
    ("bottom_end.pistons.dome", 0.2),
)


@define.check("catalog", "Measured and catalog value")
def _catalog(record: RecordValues) -> Iterator[Comparison]:
    for path, within, share in (
        *((path, within, 0.0) for path, within in _SOLID_PARTS),
        *((path, "", share) for path, share in _SOLID_SHARES),
    ):
        reading = record.build.get(path)
        if not isinstance(reading, Reading) or reading.listed is None or not reading.is_measured:
            continue
        measured, listed = record.value(path), record.value(path, listed=True)
        yield compare(
            ("measured", measured), "equals", ("catalog", listed), within=within, share=share,
            advice="another part, or a slip",
        )  # fmt: skip


# What an operation was done to, and the fields that may hold its last reading.
_WORKED = (
    (re.compile(r"block|barrel|liner|cylinder\b|case", re.I),
     (BORES, DECK_HEIGHT, "bottom_end.block.main_bores", "bottom_end.block.cam_bores")),
    (re.compile(r"crank", re.I),
     ("bottom_end.crankshaft.main_journals", "bottom_end.crankshaft.rod_journals")),
    (re.compile(r"\brods?\b", re.I), ("bottom_end.rods.big_end_bores",)),
    (re.compile(r"\bheads?\b", re.I), ("top_end.heads.chambers",)),
)  # fmt: skip
_SAME_THING = 0.02
"""A reading after an operation that lies within this share of a field was taken of the same thing."""


@define.check("operations", "Reading after machining")
def _operations(record: RecordValues) -> Iterator[Comparison]:
    """Yield the last reading of each thing machined, against the finished engine."""
    yield from _taken_off(record)
    last: dict[str, tuple[int, Operation]] = {}
    for index, operation in enumerate(record.build.get("work.operations") or ()):
        path = _worked_field(record, operation)
        if path is not None:
            last[path] = (index, operation)
    for path, (index, operation) in last.items():
        after_path = f"work.operations.{index}.after"
        after = record.reading(operation.after, after_path, f"{operation.what}, after") if operation.after else None
        finished = record.value(path)
        if after is not None:
            within = "0.3 cc" if operation.after and operation.after.dimension == "volume" else "0.015 mm"
            yield compare((f"{operation.what}, after", after.mean()), "equals", ("finished", finished.mean()),
                          within=within)  # fmt: skip


def _taken_off(record: RecordValues) -> Iterator[Comparison]:
    """Yield what an operation took off or put on, where it is more than one operation does."""
    for index, operation in enumerate(record.build.get("work.operations") or ()):
        sides = [
            record.reading(reading, f"work.operations.{index}.{name}", f"{operation.what}, {name}")
            for name, reading in (("before", operation.before), ("after", operation.after))
            if reading is not None and reading.dimension == "length"
        ]
        before, after = sides if len(sides) == 2 else (None, None)
        if before is not None and after is not None and float(max(before.values.mean(), after.values.mean())) > _LARGE:
            yield compare(("before", before.mean()), "equals", ("after", after.mean()), within="3 mm")


_LARGE = 0.02
"""Length [m] above which an operation changes a dimension by a small part of it."""


def _worked_field(record: RecordValues, operation: Operation) -> str | None:
    """Return the field whose recorded value is nearest to the reading after an operation, if one is near."""
    after = float(operation.after.values.mean()) if operation.after is not None and operation.after.preferred else 0.0
    if operation.after is None or not after:
        return None
    fields = next((fields for pattern, fields in _WORKED if pattern.search(operation.on or "")), ())
    distances = {
        path: abs(after - float(reading.values.mean())) / abs(after)
        for path in fields
        if isinstance(reading := record.build.get(path), Reading)
        and reading.preferred
        and reading.dimension == operation.after.dimension
    }
    nearest = min(distances, key=distances.__getitem__, default=None)
    return nearest if nearest is not None and distances[nearest] < _SAME_THING else None


def deck_consequence(record: RecordValues) -> str | None:
    """Return what the compression ratio would be with the deck clearance from the parts, where that differs."""
    what_if = record.context.cached(WhatIf)
    scenario, built = what_if.from_parts, what_if.as_built
    if scenario is None or built is None or scenario.ratio.display == built.ratio.display:
        return None
    return f"calculated from the parts: CR {scenario.ratio.display} instead of {built.ratio.display}"
