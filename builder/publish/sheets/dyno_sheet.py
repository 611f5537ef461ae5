"""The dyno sheet: the engine as delivered on one page, with its table, its conditions and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from builder.figures.core import display_units
from builder.figures.core.display_units import System
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.pull import CorrectedCurves
from builder.figures.dyno.pull_scatter import PullScatter
from builder.figures.dyno.uncertainty_budget import result_budget
from builder.publish.pages.build.headline import Headline, assumption_sentence, best_sentence, headline
from builder.publish.pages.build.uncertainty_section import uncertainty_sentence
from builder.publish.pages.formatting import format_date
from builder.publish.sheets.record_rows import LabelledValue, labelled, rows_of
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.unit_table import printed_unit
from builder.record.wording import cut

_MAX_ROWS = 22
_MAX_TEXT = 140
"""A longer text of the record is cut: the sheet has one page, the full text is on the build's page."""
_FEW_ROWS = 9
_WITHDRAWN = "The standard is withdrawn: not comparable with results in current standards."
_COMPARISON = "Results from other dynos, standards or at the wheels are not comparable."


@dataclass(frozen=True)
class PowerTable:
    """Torque and power by speed: a column for each unit, torque first."""

    step: str
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    """Speed [rpm], then a text for each unit."""
    peak_rows: tuple[int, int]
    """The rows with the highest torque and the highest power; -1 for none."""


@dataclass(frozen=True)
class DynoSheet:
    """The texts of the dyno sheet."""

    pull: str
    """The pull of the delivered state, or its first and how many there are."""
    headline: tuple[Headline, ...]
    basis: str
    """The standard in which the results are, as a line of text."""
    table: PowerTable
    conditions: tuple[LabelledValue, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


_REFERENCE_AIR = {
    "sae-j1349": "25 °C, 99 kPa dry air",
    "iso-1585": "25 °C, 99 kPa dry air",
    "un-r85-compression-ignition": "25 °C, 99 kPa dry air",
    "sae-j607": "60 °F, 29.92 inHg dry air",
    "din-70020": "20 °C, 1013 mbar",
}
"""The air for which each standard states the result. Source: the standards."""


def dyno_sheet_of(build: Build, sheet: FigureSheet, shop: Shop) -> DynoSheet | None:
    """Return the dyno sheet in the units of the build, and in both systems where the shop uses both.

    None where no pull counts. The build must be without its private fields.
    """
    session = sheet.session
    if session is None or session.delivered is None:
        return None
    delivered, system = session.delivered, sheet.system
    assumption, best = assumption_sentence(sheet), best_sentence(sheet)
    uncertainty = uncertainty_sentence(result_budget(build, shop, delivered))
    withdrawn = [_WITHDRAWN] if session.standard.withdrawn else []
    return DynoSheet(
        pull=delivered.label,
        headline=headline(sheet),
        basis=f"Corrected to {session.standard.name}" if session.is_corrected else "As logged, not corrected",
        table=power_table(delivered.corrected, system, both=shop.units == "both"),
        conditions=_conditions(build, delivered, system),
        notes=tuple(filter(None, (assumption, best, _scatter_note(session.scatter), uncertainty, _COMPARISON))),
        cautions=(*withdrawn, *delivered.outside, *session.remarks),
    )


def _other(system: System) -> System:
    return "metric" if system == "inch" else "inch"


def power_table(curves: CorrectedCurves, system: System, *, both: bool) -> PowerTable:
    """Return torque and power every so many rpm in a system of units, and in the other one behind it."""
    systems = (system, _other(system)) if both else (system,)
    speeds = speeds_of(curves)
    step = speeds[1] - speeds[0] if len(speeds) > 1 else 0
    torque = np.array([curves.at(curves.torque, rpm / 60) for rpm in speeds])
    power = np.array([curves.at(curves.power, rpm / 60) for rpm in speeds])
    columns = [(display_units.TORQUE, torque, system) for system in systems]
    columns += [(display_units.POWER, power, system) for system in systems]
    return PowerTable(
        f"{step} rpm",
        tuple(printed_unit(unit.scale(system).unit) for unit, _, system in columns),
        tuple(
            (f"{rpm}", *(unit.text(float(values[row]), system, with_unit=False) for unit, values, system in columns))
            for row, rpm in enumerate(speeds)
        ),
        (int(torque.argmax()), int(power.argmax())) if speeds else (-1, -1),
    )


def step_for(low: float, high: float) -> int:
    """Return the step of the table [rpm]: 100 for a short pull, else 250, or 500 or 1000 to fit on a page."""
    if (high - low) / 250 < _FEW_ROWS:
        return 100
    return next((step for step in (250, 500) if (high - low) / step <= _MAX_ROWS), 1000)


def speeds_of(curves: CorrectedCurves) -> list[int]:
    """Return the speeds of the table [rpm]: the multiples of its step that the curves cover."""
    low, high = float(curves.speed[0]) * 60, float(curves.speed[-1]) * 60
    step = step_for(low, high)
    first = int(-(-(low - 1e-6) // step)) * step
    return list(range(first, int(high + 1e-6) + 1, step))


def _conditions(build: Build, delivered: EngineState, system: System) -> tuple[LabelledValue, ...]:
    dyno, pull = build.dyno, delivered.last
    conditions = pull.record.conditions or (dyno.conditions if dyno else None)
    is_corrected = pull.correction is not None
    factor, power = _factor_and_observed_power(delivered, system)
    rows = (
        *labelled(
            ("Standard", pull.standard.name if is_corrected else "none: as logged"),
            ("Reference air", _REFERENCE_AIR.get(pull.standard.slug) if is_corrected else None),
            ("Correction factor", factor if is_corrected else None),
            ("Uncorrected power", power if is_corrected else None),
        ),
        *labelled(*((setting.name, setting.level.text) for setting in delivered.settings)),
        *(rows_of(conditions, both=True) if conditions else (LabelledValue("Air", "not recorded"),)),
        *labelled(
            ("Fuel in the tank", (dyno.fuel if dyno else None) or "not recorded"),
            ("Oil in the sump", dyno.oil if dyno else None),
            ("Accessories driven", (dyno.ancillaries if dyno else None) or "not recorded"),
            ("Dyno", dyno.dyno if dyno else None),
            ("Date", format_date(dyno.date) if dyno and dyno.date else None),
            ("Run by", dyno.by if dyno else None),
            ("Test", {"sweep": "sweep", "steps": "held at each speed", None: None}[pull.kind]),
        ),
    )
    return tuple(replace(row, text=cut(row.text, _MAX_TEXT)) for row in rows)


def _factor_and_observed_power(delivered: EngineState, system: System) -> tuple[str, str | None]:
    """Return the factor from the power as observed at its peak, and that power; None where that is not known or same.

    Readings that the dyno had corrected, in air that is not recorded, hide what the engine made on the day.
    """
    speed, curves = delivered.peak_power.speed, delivered.corrected
    observed = curves.at(curves.observed_power, speed)
    if not np.isfinite(observed) or observed <= 0:
        return "the dyno's own, not recorded", None
    factor = float(curves.power_curve.at(speed)) / observed
    power = display_units.POWER.text(observed, system, delivered.peak_power.half_width)
    return f"{factor:.4f} at peak power", power if abs(factor - 1) > 5e-5 else None


def _scatter_note(scatter: PullScatter) -> str:
    source = {
        "assumed": "common practice, no repeat pulls here",
        "shop": "this shop's repeat pulls",
        "session": "repeat pulls of this session and earlier experience",
    }[scatter.source]
    return f"± is the 95 % interval of the result; one pull scatters by {scatter.relative:.1%} (1 SD, {source})."
