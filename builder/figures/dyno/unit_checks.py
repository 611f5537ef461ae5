"""Do the logged torque, power and speed obey P = 2 pi n T? If not, which unit was likely read as which?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from builder.engine import power
from builder.engine.power import Consistency
from builder.figures.dyno.row_selection import SelectedRows
from builder.record.dyno_log.channels import CHANNELS, factor
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.problem import Problem


@dataclass(frozen=True)
class UnitCheck:
    """What came of holding torque, power and speed against each other; ``stops`` where the pull must not count."""

    consistency: Consistency | None = None
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    excludes_pull: bool = False


def check_units(build: Build, index: int, log: DynoLog, rows: SelectedRows) -> UnitCheck:
    """Whether torque, power and speed obey P = 2 pi n T; if not, the likely slip and how to settle it."""
    if not {"torque", "power"} <= log.channels.keys():
        return UnitCheck()
    pull = build.pulls[index]
    logged_torque, logged_power = rows.select(log.channels["torque"]), rows.select(log.channels["power"])
    try:
        found = power.torque_power_consistency(rows.speed, logged_torque, logged_power)
        if not found.agrees and (room := _rounding_tolerance(log, found.rows)) > 0.005:
            found = power.torque_power_consistency(rows.speed, logged_torque, logged_power, room)
    except ValueError:
        return UnitCheck(notes=("torque and power could not be held against each other: no row has both",))
    if found.agrees:
        return UnitCheck(found, notes=(f"torque, power and speed agree: P / (2 pi n T) is {found.ratio:.4f}",))
    said = f"{pull.name}: the logged power is {found.ratio:.3f} times what torque and speed make"
    if not found.steady:
        said = f"{pull.name}: no one factor takes torque and speed to the logged power (about {found.ratio:.3f})"
    elif found.slip:
        said += f"; most likely {found.slip}"
        if found.others:
            said += f" (or {found.others[0]})"
    units = pull.units or {}
    place = build.where(f"dyno.pulls.{index}.{'units' if units else 'file'}")
    if {"torque", "power"} <= units.keys():
        settled = Problem(*place, f"{said}; both units are stated, so torque is used as stated", "warning")
        return UnitCheck(found, (settled,), (said,))
    advice = f"{said}. The pull does not count until it says which: units: {{{_suggested_units(found, log)}}}"
    problem = Problem(*place, advice, "warning" if pull.left_out else "error")
    return UnitCheck(found, (problem,), (said,), excludes_pull=True)


def _suggested_units(found: Consistency, log: DynoLog) -> str:
    """The units to write down: as the log gives them, but for the slip."""
    units = {slug: log.units.get(slug, "?") for slug in ("torque", "power")}
    for column, unit in re.findall(r"(torque|power|speed) in (.+?) was read as", found.slip or ""):
        slug = "engine_speed" if column == "speed" else column
        units[slug] = {"metric horsepower": "PS", "mechanical horsepower": "hp", "lbf ft": "lbf.ft"}.get(unit, unit)
    return ", ".join(f"{slug}: {unit}" for slug, unit in units.items())


def _rounding_tolerance(log: DynoLog, rows: int) -> float:
    """How far the middle ratio may be off because the columns were written with few digits."""
    room = 0.0
    for slug in ("torque", "power"):
        scale = factor(log.units.get(slug, ""), CHANNELS[slug].dimension)
        values = log.channels[slug]
        values = values[np.isfinite(values) & (values != 0)][:400]
        if scale is None or not values.size:
            continue
        written = np.abs(values / scale[0])
        digits = next((d for d in range(5) if np.allclose(written, np.round(written, d), rtol=0, atol=1e-7)), None)
        if digits is not None:
            room += 0.5 * 10.0**-digits / float(np.median(written))
    return room * 2 / max(1.0, float(np.sqrt(rows)))
