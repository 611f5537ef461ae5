"""The last digit of a log's torque, and how well the mean of a pull is known for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine import power
from builder.engine.resolution import last_digit, uncertainty_of_mean
from builder.figures.dyno.row_selection import SelectedRows
from builder.record.dyno_log.channels import CHANNELS, factor
from builder.record.dyno_log.reader import DynoLog


@dataclass(frozen=True, kw_only=True)
class TorqueResolution:
    """``step``: one in the last digit of a log's torque; ``of_mean``: standard uncertainty of its mean; both [N m]."""

    step: float
    of_mean: float


def torque_resolution(log: DynoLog, rows: SelectedRows, correction: float = 1.0) -> TorqueResolution:
    """Return the resolution of a pull's torque, times the factor that it is corrected by.

    Where the log has power alone, one in the last digit of power is taken as torque at the middle speed.
    """
    slug = "torque" if "torque" in log.channels else "power"
    scale = factor(log.units.get(slug, ""), CHANNELS[slug].dimension)
    unit = scale[0] if scale is not None else 1.0
    values = rows.select(log.channels[slug])
    step = last_digit(values / unit) * unit
    of_mean = uncertainty_of_mean(values, step)
    if slug == "power":
        speed = float(np.median(rows.speed))
        step, of_mean = (float(power.torque(value, speed)) for value in (step, of_mean))
    return TorqueResolution(step=correction * step, of_mean=correction * of_mean)
