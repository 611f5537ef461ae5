"""Checks of the logged torque, power and speed against P = 2 pi n T, and the unit that was likely read as another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine import power
from builder.engine.power import Consistency, explanation_text
from builder.figures.dyno.row_selection import SelectedRows
from builder.record.dyno_log.channels import CHANNELS, factor
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.problem import Problem

_SPELLINGS = {"metric horsepower": "PS", "mechanical horsepower": "hp", "lbf ft": "lbf.ft"}
"""How the record writes the units that a mix-up names."""


@dataclass(frozen=True, kw_only=True)
class UnitCheck:
    """Whether torque, power and speed agree; ``excludes_pull`` where no result may be taken from the pull."""

    consistency: Consistency | None = None
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    excludes_pull: bool = False


def check_units(build: Build, index: int, log: DynoLog, rows: SelectedRows) -> UnitCheck:
    """Return whether torque, power and speed obey P = 2 pi n T; if not, the likely mix-up and how to settle it."""
    if not {"torque", "power"} <= log.channels.keys():
        return UnitCheck()
    pull = build.pulls[index]
    logged_torque, logged_power = rows.select(log.channels["torque"]), rows.select(log.channels["power"])
    try:
        consistency = power.torque_power_consistency(rows.speed, logged_torque, logged_power)
        if not consistency.agrees and (tolerance := _rounding_tolerance(log, consistency.rows)) > 0.005:
            consistency = power.torque_power_consistency(rows.speed, logged_torque, logged_power, tolerance)
    except ValueError:
        return UnitCheck(notes=("torque and power could not be cross-checked: no row has both",))
    if consistency.agrees:
        note = f"torque, power and speed agree: P / (2 pi n T) is {consistency.ratio:.4f}"
        return UnitCheck(consistency=consistency, notes=(note,))
    note = f"{pull.name}: {_disagreement_text(consistency)}"
    units = pull.units or {}
    location = build.where(f"dyno.pulls.{index}.{'units' if units else 'file'}")
    if {"torque", "power"} <= units.keys():
        settled = Problem(*location, f"{note}; both units are stated, so torque is used as stated", "warning")
        return UnitCheck(consistency=consistency, problems=(settled,), notes=(note,))
    advice = f"{note}. The pull does not count until it says which: units: {{{_suggested_units(consistency, log)}}}"
    problem = Problem(*location, advice, "warning" if pull.left_out else "error")
    return UnitCheck(consistency=consistency, problems=(problem,), notes=(note,), excludes_pull=True)


def _disagreement_text(consistency: Consistency) -> str:
    if not consistency.steady:
        return f"no one factor takes torque and speed to the logged power (about {consistency.ratio:.3f})"
    text = f"the logged power is {consistency.ratio:.3f} times what torque and speed make"
    explanations = [explanation_text(item) for item in consistency.explanations[:2]]
    if explanations:
        text += f"; most likely {explanations[0]}" + "".join(f" (or {item})" for item in explanations[1:])
    return text


def _suggested_units(consistency: Consistency, log: DynoLog) -> str:
    """Return the units to write down: as the log gives them, but for the likeliest mix-up."""
    units = {slug: log.units.get(slug, "?") for slug in ("torque", "power")}
    for mix_up in consistency.explanations[0] if consistency.explanations else ():
        slug = "engine_speed" if mix_up.column == "speed" else mix_up.column
        units[slug] = _SPELLINGS.get(mix_up.unit, mix_up.unit)
    return ", ".join(f"{slug}: {unit}" for slug, unit in units.items())


def _rounding_tolerance(log: DynoLog, rows: int) -> float:
    """Return how far the median ratio may be off because the columns were written with few digits [-]."""
    tolerance = 0.0
    for slug in ("torque", "power"):
        scale = factor(log.units.get(slug, ""), CHANNELS[slug].dimension)
        values = log.channels[slug]
        values = values[np.isfinite(values) & (values != 0)][:400]
        if scale is None or not values.size:
            continue
        written = np.abs(values / scale[0])
        decimals = next((d for d in range(5) if np.allclose(written, np.round(written, d), rtol=0, atol=1e-7)), None)
        if decimals is not None:
            tolerance += 0.5 * 10.0**-decimals / float(np.median(written))
    return tolerance * 2 / max(1.0, float(np.sqrt(rows)))
