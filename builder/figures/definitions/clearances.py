"""Figures of clearances: at every position, by gauge or from the parts; straight and round bores; the range allowed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.engine import clearances as clearance
from builder.engine import uncertainty
from builder.engine.validation import Array, Value
from builder.figures.core import display_units as units
from builder.figures.core.display_units import join_unit, written_mean, written_text
from builder.figures.core.inputs import Context, Input, recorded_value
from builder.figures.core.instruments import difference_in, instrument_of, repeatability
from builder.figures.core.registry import COMMON_PRACTICE, FITS, GEOMETRY, Definitions
from builder.figures.core.solver import FigureResult
from builder.figures.core.types import MEASURED, Axis, InputValue
from builder.record.models.fields import title_of
from builder.record.models.shop import Shop
from builder.record.models.work import BoreCylinder, BoreGauging
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import factor
from builder.record.wording import capitalize

define = Definitions(FITS)

FITS_AT = "assembly.fits"

CLEARANCES: dict[str, str | None] = {
    "main_oil_clearance": "main",
    "rod_oil_clearance": "cylinder",
    "cam_oil_clearance": "cam bearing",
    "main_bearing_crush": "main",
    "rod_bearing_crush": "cylinder",
    "piston_clearance": "cylinder",
    "pin_clearance": "cylinder",
    "top_ring_gap": "cylinder",
    "second_ring_gap": "cylinder",
    "ring_side_clearance": "cylinder",
    "crank_end_play": None,
    "rod_side_clearance": "crankpin",
    "cam_end_play": None,
    "intake_guide_clearance": "intake valve",
    "exhaust_guide_clearance": "exhaust valve",
}
"""What every recorded clearance is measured at; None for one that is a single number."""

_MEASURED = (
    ("main_oil_clearance", "Main oil clearance",
     "Main bearing oil clearance.",
     "housing torqued; a direct measurement takes precedence over the sum of the parts"),
    ("rod_oil_clearance", "Rod oil clearance",
     "Rod bearing oil clearance.",
     "big end torqued; a direct measurement takes precedence over the sum of the parts"),
    ("cam_oil_clearance", "Cam oil clearance", "Cam bearing oil clearance.", "bearings fitted, cold; as measured"),
    ("main_bearing_crush", "Main bearing crush",
     "How far a main shell stands above the parting line before the cap is torqued: it holds the shell in place.",
     "one side, the other held level"),
    ("rod_bearing_crush", "Rod bearing crush",
     "How far a rod shell stands above the parting line before the cap is torqued.", "one side, the other held level"),
    ("piston_clearance", "Piston clearance",
     "Piston-to-bore clearance: too tight seizes, too loose rattles and wears.",
     "at the piston's gauge point, cold; a direct measurement takes precedence"),
    ("pin_clearance", "Pin clearance", "Clearance of the wrist pin.",
     "cold, pin and bore at one temperature; as measured"),
    ("top_ring_gap", "Top ring gap",
     "Ring end gap, for expansion when hot.", "ring square in its own bore"),
    ("second_ring_gap", "Second ring gap",
     "Second ring end gap, for expansion when hot.", "ring square in its own bore"),
    ("ring_side_clearance", "Ring side clearance",
     "Axial clearance of the ring in its groove.", "ring in its own clean groove, cold; as measured"),
    ("crank_end_play", "Crankshaft end play", "Axial movement of the crankshaft.",
     "thrust bearing fitted and main caps torqued, cold; as measured"),
    ("rod_side_clearance", "Rod side clearance",
     "Axial clearance of the rods on the crankpin.", "rods on their crankpin, pushed to one side, cold; as measured"),
    ("cam_end_play", "Camshaft end play", "Axial movement of the camshaft.",
     "thrust plate or retainer torqued, cold; as measured"),
    ("intake_guide_clearance", "Intake guide clearance",
     "Intake valve stem-to-guide clearance.", "stem and guide cold; as measured"),
    ("exhaust_guide_clearance", "Exhaust guide clearance",
     "Exhaust valve stem-to-guide clearance.", "stem and guide cold; as measured"),
)  # fmt: skip

_FROM_PARTS = {
    "main_oil_clearance": r"B_m - 2\,t_m - D_m",
    "rod_oil_clearance": r"B_r - 2\,t_r - D_r",
    "piston_clearance": r"B - D_p",
}


def _as_measured(**inputs: Value) -> Value:
    """Return the only input."""
    (value,) = inputs.values()
    return value


for _slug, _title, _means, _validity in _MEASURED:
    _measured = f"{_slug}_measured"
    define.add_inputs(
        Input(_measured, f"{_slug.replace('_', ' ')}, measured", "", units.LENGTH, f"{FITS_AT}.{_slug}",
              CLEARANCES[_slug])
    )  # fmt: skip
    define.figure(
        _slug,
        _title,
        units.LENGTH,
        source=GEOMETRY if _slug in _FROM_PARTS else COMMON_PRACTICE,
        axis=CLEARANCES[_slug],
        means=_means,
        formula=_FROM_PARTS.get(_slug, r"\mathrm{measured}"),
        working=f"{{{_measured}}}",
        validity=_validity,
        inputs=(_measured,),
    )(_as_measured)


define.add_inputs(
    Input("main_bore", "main housing bore", "B_m", units.LENGTH, "bottom_end.block.main_bores", "main"),
    Input("main_shell", "main shell thickness", "t_m", units.LENGTH, "bottom_end.bearings.main_shell"),
    Input("main_journal", "main journal", "D_m", units.LENGTH, "bottom_end.crankshaft.main_journals", "main"),
    Input("big_end_bore", "big-end housing bore", "B_r", units.LENGTH, "bottom_end.rods.big_end_bores", "cylinder"),
    Input("rod_shell", "rod shell thickness", "t_r", units.LENGTH, "bottom_end.bearings.rod_shell"),
    Input("piston_diameter", "piston at its gauge point", "D_p", units.LENGTH, "bottom_end.pistons.diameter",
          "cylinder"),
)  # fmt: skip


@define.computed_input(
    "rod_journal", "crankpin", "D_r", units.LENGTH, "bottom_end.crankshaft.rod_journals", "crankpin",
    reads=("bottom_end.crankshaft.rod_journals", "build.engine.cylinders"),
)  # fmt: skip
def _rod_journal(context: Context, item: Input) -> InputValue | None:
    """Return the crankpins, by cylinder where each carries one rod; else the record does not say which is whose."""
    reading = context.build.get(item.path)
    value = None if reading is None else recorded_value(item, reading, context.shop)
    if value is None:
        return None
    if value.axis and len(value.axis.labels) == context.build.cylinders:
        value = replace(value, axis=Axis("cylinder", value.axis.labels))
    return replace(value, where=context.build.where(item.path))


Direction = Literal["depth", "axis"]


def _extremes(cylinder: BoreCylinder, along: Direction) -> tuple[float, float]:
    """Return the highest and the lowest reading that make a bore's taper (`depth`) or out-of-round (`axis`)."""
    readings = [(depth.across, depth.along) for depth in cylinder.depths]
    worst = max(zip(*readings, strict=True) if along == "depth" else readings, key=lambda row: max(row) - min(row))
    return max(worst), min(worst)


def _decimals(numbers: list[float]) -> int:
    return max((len(text.partition(".")[2]) for text in (f"{number:.10g}" for number in numbers)), default=0)


@dataclass(frozen=True)
class BoreDifferences:
    """The two readings that make the taper or the out-of-round of each bore on the card, in the card's unit."""

    cylinders: tuple[str, ...]
    highest: tuple[float, ...]
    lowest: tuple[float, ...]
    step: float
    """The last digit of the readings [m]."""
    uncertainty: float
    """Standard uncertainty of one reading without the error of the gauge's setting, which both have [m]."""
    is_uncertainty_stated: bool
    least: Array
    """The least difference of each bore that the gauge can tell from zero [m]."""


def bore_differences(card: BoreGauging, shop: Shop, along: Direction) -> BoreDifferences | None:
    """Return the two readings that make the taper (`depth`) or out-of-round (`axis`) of each bore; None without any."""
    rows = [row for row in card.cylinders if len(row.depths) > 1 or along == "axis"]
    if not rows:
        return None
    scale, _ = factor(card.unit, "length")
    highest, lowest = zip(*(_extremes(row, along) for row in rows), strict=True)
    gauge = instrument_of(shop, card.instrument)
    shown = difference_in(gauge.resolution, "length", 0.0) if gauge else None
    # YAML does not say how many decimals the gauge's numbers were written with.
    step = card.resolution.si if card.resolution else shown or scale * 10.0 ** -_decimals([*highest, *lowest])
    own = repeatability(gauge, "length", float(np.mean(highest)) * scale)
    pairs = [len(row.depths) * (len(row.depths) - 1 if along == "depth" else 1) for row in rows]
    return BoreDifferences(
        cylinders=tuple(str(row.cylinder) for row in rows),
        highest=highest,
        lowest=lowest,
        step=step,
        uncertainty=float(np.hypot(uncertainty.from_resolution(step), own or 0.0)),
        is_uncertainty_stated=bool(card.resolution or shown or own),
        least=np.array([clearance.resolvable_difference(own or 0.0, step, count) for count in pairs]),
    )


def is_resolved(difference: Value, least: Value) -> npt.NDArray[np.bool_]:
    """Return where a difference of two readings is more than the gauge may show of a bore that has none."""
    return np.atleast_1d(difference) > np.atleast_1d(least) * (1 + 1e-6)


def _gauged(name: str, label: str, along: Direction, end: Literal[0, 1]) -> Input:
    """Return the highest (0) or the lowest (1) of the readings that make the taper or out-of-round of each bore."""

    def get(context: Context, item: Input) -> InputValue | None:
        card: BoreGauging | None = context.build.get("work.bore_gauging")
        bores = bore_differences(card, context.shop, along) if card else None
        if card is None or bores is None:
            return None
        scale, _ = factor(card.unit, "length")
        numbers = bores.lowest if end else bores.highest
        decimals = max(_decimals(list(numbers)), _decimals([bores.step / scale]))
        return item.value(
            np.array(numbers) * scale,
            tuple(join_unit(f"{number:.{decimals}f}", card.unit) for number in numbers),
            MEASURED,
            labels=bores.cylinders,
            contributions=uncertainty.root(item.name, bores.uncertainty),
            has_stated_resolution=bores.is_uncertainty_stated,
            where=context.build.where("work.bore_gauging"),
        )

    return Input(name, label, "", units.LENGTH, "work.bore_gauging.cylinders", "cylinder", get=get)


def _resolvable(name: str, along: Direction) -> Input:
    """Return the least taper or out-of-round of each bore that its gauge can tell from zero."""

    def get(context: Context, item: Input) -> InputValue | None:
        card: BoreGauging | None = context.build.get("work.bore_gauging")
        bores = bore_differences(card, context.shop, along) if card else None
        if bores is None:
            return None
        texts = tuple(units.LENGTH.texts(bores.least.tolist(), context.system, [0.0] * len(bores.least)))
        return item.value(bores.least, texts, MEASURED, labels=bores.cylinders)

    return Input(name, "least that the gauge resolves", "", units.LENGTH, "work.bore_gauging.cylinders", "cylinder",
                 get=get)  # fmt: skip


def _with_resolution(difference: Value, least: Value | None, inputs: tuple[str, ...]) -> FigureResult:
    """Return a taper or out-of-round with a note that says how many bores have none that the gauge resolves."""
    if least is None:
        return FigureResult(difference)
    resolved = is_resolved(difference, least)
    count = int(np.sum(~resolved))
    bores = f" in {count} of {resolved.size} bores" if resolved.size > 1 else ""
    note = f"Not resolved{bores}: no more than the gauge may show of a true bore." if count else None
    return FigureResult(difference, note=note, inputs=inputs)


def _ranged_fits(context: Context) -> list[tuple[str, Reading]]:
    """Return title and reading of every fit that was measured and has a range with two ends."""
    fits = context.build.get(FITS_AT)
    if fits is None:
        return []
    titled = [(title_of(name, info), getattr(fits, name)) for name, info in type(fits).model_fields.items()]
    titled = [(title, value) for title, value in titled if isinstance(value, Reading)]
    titled += [(capitalize(fit.name), fit.reading) for fit in fits.other]
    return [
        (title, reading)
        for title, reading in titled
        if reading.is_measured and reading.minimum and reading.maximum and reading.minimum.si < reading.maximum.si
    ]


def _by_fit(name: str, label: str, value_of: Callable[[Reading], tuple[float, str]]) -> Input:
    def get(context: Context, item: Input) -> InputValue | None:
        fits = _ranged_fits(context)
        if not fits:
            return None
        rows = [value_of(reading) for _, reading in fits]
        return item.value(
            np.array([value for value, _ in rows]),
            tuple(text for _, text in rows),
            MEASURED,
            labels=tuple(title for title, _ in fits),
            where=context.build.where(FITS_AT),
        )

    return Input(name, label, "", units.LENGTH, FITS_AT, "fit", get=get)


def _mean(reading: Reading) -> tuple[float, str]:
    return float(reading.values.mean()), written_mean(reading)


def _least(reading: Reading) -> tuple[float, str]:
    assert reading.minimum is not None  # _ranged_fits returns no other
    return reading.minimum.si, written_text(reading.minimum)


def _most(reading: Reading) -> tuple[float, str]:
    assert reading.maximum is not None  # _ranged_fits returns no other
    return reading.maximum.si, written_text(reading.maximum)


define.add_inputs(
    _gauged("taper_largest", "largest reading, at the depths that differ most", "depth", 0),
    _gauged("taper_least", "smallest reading, at the depths that differ most", "depth", 1),
    _gauged("out_of_round_largest", "largest reading, across the axes that differ most", "axis", 0),
    _gauged("out_of_round_least", "smallest reading, across the axes that differ most", "axis", 1),
    _resolvable("taper_resolvable", "depth"),
    _resolvable("out_of_round_resolvable", "axis"),
    _by_fit("fit_mean", "mean reading", _mean),
    _by_fit("fit_least", "spec min.", _least),
    _by_fit("fit_most", "spec max.", _most),
)


define.alternative(
    "main_oil_clearance",
    working="{main_bore} − 2 × {main_shell} − {main_journal}",
    is_sum=True,
    inputs=("main_bore", "main_shell", "main_journal"),
)(clearance.oil_clearance)


define.alternative(
    "rod_oil_clearance",
    working="{big_end_bore} − 2 × {rod_shell} − {rod_journal}",
    is_sum=True,
    inputs=("big_end_bore", "rod_shell", "rod_journal"),
)(clearance.oil_clearance)


define.alternative("piston_clearance", working="{bore} − {piston_diameter}", is_sum=True)(clearance.piston_clearance)


@define.figure(
    "bore_taper",
    "Bore taper",
    units.LENGTH,
    source=COMMON_PRACTICE,
    headline="most",
    means="Difference in bore diameter from top to bottom.",
    formula=r"\max_{\mathrm{axes}} \left( B_{most} - B_{least} \right)",
    symbols=(("B_{most}, B_{least}", "largest and least reading down one axis of the bore", "m"),),
    working="{taper_largest} − {taper_least}",
    validity="over the depths measured; the error of the gauge's setting cancels (JCGM 100, 5.2.2), and what may be "
    "read of a true bore is not resolved",
    is_sum=True,
)
def bore_taper(taper_largest: Value, taper_least: Value, taper_resolvable: Value | None = None) -> FigureResult:
    """Return the taper of each bore [m]; the error of the gauge's setting, common to both readings, cancels."""
    depths = np.stack([np.atleast_1d(taper_largest), np.atleast_1d(taper_least)], axis=-1)
    taper = clearance.bore_taper(depths[..., np.newaxis])
    return _with_resolution(taper, taper_resolvable, ("taper_largest", "taper_least"))


@define.figure(
    "bore_out_of_round",
    "Bore out of round",
    units.LENGTH,
    source=COMMON_PRACTICE,
    headline="most",
    means="Difference in bore diameter across and along the crank.",
    formula=r"\max_{\mathrm{depths}} \left( B_{most} - B_{least} \right)",
    symbols=(("B_{most}, B_{least}", "largest and least reading across the bore at one depth", "m"),),
    working="{out_of_round_largest} − {out_of_round_least}",
    validity="over the axes measured; the error of the gauge's setting cancels (JCGM 100, 5.2.2), and what may be "
    "read of a true bore is not resolved",
    is_sum=True,
)
def bore_out_of_round(
    out_of_round_largest: Value, out_of_round_least: Value, out_of_round_resolvable: Value | None = None
) -> FigureResult:
    """Return the out-of-round of each bore [m]; the error of the gauge's setting, common to both readings, cancels."""
    axes = np.stack([np.atleast_1d(out_of_round_largest), np.atleast_1d(out_of_round_least)], axis=-1)
    out_of_round = clearance.bore_out_of_round(axes[..., np.newaxis, :])
    return _with_resolution(out_of_round, out_of_round_resolvable, ("out_of_round_largest", "out_of_round_least"))


define.figure(
    "fit_position",
    "Clearance position in spec",
    units.WHOLE_PERCENT,
    source=GEOMETRY,
    means="0 % is the tight limit, 100 % the loose limit.",
    formula=r"\frac{x - x_{least}}{x_{most} - x_{least}}",
    symbols=(("x", "mean of the readings", "m"), ("x_{least}, x_{most}", "spec limits", "m")),
    working="({fit_mean} − {fit_least}) / ({fit_most} − {fit_least})",
    validity="specs with two limits; out of spec below 0 % or above 100 %",
    is_listed=False,
    inputs=("fit_mean", "fit_least", "fit_most"),
)(clearance.position_in_range)
