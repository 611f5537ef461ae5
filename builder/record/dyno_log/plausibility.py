"""Check a log whose every number is readable: speeds that never rise, swapped cells, values no engine has."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.channels import CHANNELS
from builder.record.problem import Problem
from builder.record.wording import in_sentence

Floats = NDArray[np.float64]

MAX_LISTED = 3


_LOWEST_TOP_SPEED, _LOW_TOP_SPEED = 100 / 60, 300 / 60
"""All engines, and nearly all, run faster than that [rev/s] at some time of a pull (common practice, no source)."""


def check_channels(
    channels: Mapping[str, Floats], lines: NDArray[np.int64], path: Path
) -> tuple[list[Problem], list[str]]:
    """Return problems and notes about channels in SI; `lines` is each row's line in the file."""
    problems: list[Problem] = []
    notes = [f"{_rows(lines.size)} of numbers read"]
    speed = channels["engine_speed"]
    for slug in ("torque", "power"):
        if slug in channels:
            empty = np.flatnonzero(np.isnan(channels[slug]))
            if empty.size:
                notes.append(f"{slug} is empty in {_rows(empty.size)}, first on line {lines[empty[0]]}")
    problems += _speed_problems(speed, lines, path)
    notes += _speed_notes(speed)
    problems += _inconsistent_rows(channels, lines, path)
    for slug, values in channels.items():
        problems += _implausible(slug, values, lines, path)
    problems += _time_problems(channels, lines, path)
    return problems, notes


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count:,} rows"


def _speed_problems(speed: Floats, lines: NDArray[np.int64], path: Path) -> list[Problem]:
    low, high = float(speed.min()), float(speed.max())
    first = int(lines[0])
    if speed.size == 1:
        return [Problem(path, first, "there is only one row of numbers; a pull needs several engine speeds")]
    if low == high:
        return [Problem(path, first, f"the engine speed is {60 * low:g} rpm in every row and never rises; "
                                     "a pull needs several engine speeds")]  # fmt: skip
    if high < _LOW_TOP_SPEED:
        message = (
            f"the engine speed is never above {60 * high:g} rpm: is it this column, and in this unit? "
            "Two thousand is 2000 here, not 2.000, unless its unit is rpm x1000"
        )
        return [Problem(path, first, message, "error" if high < _LOWEST_TOP_SPEED else "warning")]
    if high - low < 0.02 * high:
        return [Problem(path, first, f"the engine speed stays within {60 * low:.0f} and {60 * high:.0f} rpm; "
                                     "this looks like a run at one speed", "warning")]  # fmt: skip
    return []


def _speed_notes(speed: Floats) -> list[str]:
    steps = np.diff(speed)
    rising, falling, level = (int(np.count_nonzero(test)) for test in (steps > 0, steps < 0, steps == 0))
    if not falling and not level:
        return []
    if not rising:
        return ["the engine speed falls from row to row; read as a test in falling steps"]
    changes = [f"falls at {_rows(falling)}"] if falling else []
    changes += [f"repeats at {_rows(level)}"] if level else []
    return [f"the engine speed {' and '.join(changes)}; every row is kept in the order of the file"]


def _inconsistent_rows(channels: Mapping[str, Floats], lines: NDArray[np.int64], path: Path) -> list[Problem]:
    """Warn of single rows whose speed leaps away and back, or whose power does not match speed times torque."""
    speed = channels["engine_speed"]
    problems = []
    before, current, after = speed[:-2], speed[1:-1], speed[2:]
    around = 0.5 * (before + after)
    leap = (np.abs(before - after) < 0.2 * around) & (np.abs(current - around) > 0.5 * around)
    problems += _warn_of_rows(np.flatnonzero(leap) + 1, lines, path, lambda row: (
        f"the engine speed leaps to {60 * speed[row]:.0f} rpm between rows of about {60 * around[row - 1]:.0f} rpm; "
        "look whether the row's cells are swapped"))  # fmt: skip
    if "torque" in channels and "power" in channels:
        product = speed * channels["torque"]
        sound = np.abs(product) > 0.05 * np.nanmax(np.abs(product), initial=0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(sound, channels["power"] / product, np.nan)
        if np.count_nonzero(np.isfinite(ratio)) >= 5:
            usual = float(np.nanmedian(ratio))
            off = np.abs(ratio - usual) > 0.25 * abs(usual)
            if 0 < np.count_nonzero(off) <= 0.1 * ratio.size + 1:
                problems += _warn_of_rows(np.flatnonzero(off), lines, path, lambda row: (
                    "torque, power and speed of this row do not go together as in the other rows; "
                    "look whether a cell is wrong"))  # fmt: skip
    return problems


def _warn_of_rows(
    rows: NDArray[np.intp], lines: NDArray[np.int64], path: Path, message_of: Callable[[int], str]
) -> list[Problem]:
    """Return a warning for each of the first few rows, and how many more there are."""
    problems = [Problem(path, int(lines[row]), message_of(int(row)), "warning") for row in rows[:MAX_LISTED]]
    if rows.size > MAX_LISTED:
        line = int(lines[rows[MAX_LISTED]])
        problems.append(Problem(path, line, f"and more like these, {_rows(rows.size)} in all", "warning"))
    return problems


def _implausible(slug: str, values: Floats, lines: NDArray[np.int64], path: Path) -> list[Problem]:
    channel = CHANNELS[slug]
    low, high = np.fmin.reduce(values), np.fmax.reduce(values)
    if not (low < channel.low or high > channel.high):
        return []
    rows = np.flatnonzero((values < channel.low) | (values > channel.high))
    unit = "" if channel.si_unit == "1" else " " + channel.si_unit
    return [Problem(
        path, int(lines[rows[0]]),
        f"{in_sentence(channel.title)} of {values[rows[0]]:.4g}{unit} is outside "
        f"{channel.low:g} to {channel.high:g}{unit}"
        f" ({_rows(rows.size)} in all, this is the first): is the unit right?", "warning",
    )]  # fmt: skip


def _time_problems(channels: Mapping[str, Floats], lines: NDArray[np.int64], path: Path) -> list[Problem]:
    if "time" not in channels:
        return []
    back = np.flatnonzero(np.diff(channels["time"]) < 0.0)
    if not back.size:
        return []
    return [Problem(path, int(lines[back[0] + 1]), f"time runs backwards here ({_rows(back.size)} in all); "
                                                   "is there more than one pull in the file?", "warning")]  # fmt: skip
