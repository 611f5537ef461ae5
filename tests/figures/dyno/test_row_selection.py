"""Which rows of a log make the curve, and how a very long log is thinned."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.row_selection import binned, select_rows
from builder.record.dyno_log.reader import DynoLog

CELL = 500 / 60 / 16
"""Sixteen cells to the width of the smoother, 500 rev/min [rev/s]."""


def log(**channels: np.ndarray) -> DynoLog:
    rows = np.arange(2, 2 + channels["engine_speed"].size, dtype=np.int64)
    return DynoLog(Path("a.csv"), channels, {}, {}, rows, ())


def test_a_log_of_speed_alone_makes_no_curve() -> None:
    with pytest.raises(ValueError, match="neither torque nor power"):
        select_rows(log(engine_speed=np.linspace(30.0, 90.0, 20)))


def test_an_engine_that_never_turned_makes_no_curve() -> None:
    with pytest.raises(ValueError, match="both speed and torque"):
        select_rows(log(engine_speed=np.zeros(20), torque=np.full(20, 100.0)))


def test_the_rate_of_change_is_taken_where_time_and_inertia_are_known() -> None:
    """By hand: speed rising by 4 rev/s every second is 2 pi J 4."""
    time = np.arange(0.0, 10.0, 0.05)
    sweep = {"engine_speed": 30.0 + 4.0 * time, "torque": np.full(time.size, 150.0)}
    rows = select_rows(log(**sweep, time=time), inertia=0.4)
    assert rows.kind == "sweep"
    assert rows.acceleration_torque is not None
    np.testing.assert_allclose(rows.acceleration_torque, 2 * np.pi * 0.4 * 4.0, rtol=1e-6)
    timeless = select_rows(log(**sweep), inertia=0.4)
    assert timeless.acceleration_torque is None
    assert any("no time channel" in told for told in timeless.notes)


def test_torque_from_power_where_the_engine_stood_still_is_not_known() -> None:
    speed = np.array([0.0, 40.0, 50.0, 60.0, 70.0])
    rows = select_rows(log(engine_speed=speed, power=2 * np.pi * speed * 100.0))
    np.testing.assert_allclose(rows.torque, 100.0)
    np.testing.assert_allclose(rows.speed, speed[1:])
    np.testing.assert_array_equal(rows.select(np.arange(5.0)), [1, 2, 3, 4])


def test_a_short_log_is_left_as_it_is() -> None:
    speed, torque = np.linspace(30.0, 90.0, 5000), np.ones(5000)
    (same,), at = binned(speed, (torque,))
    assert same is torque
    assert at is speed
    assert binned(speed, ()) == ((), speed)


def test_a_long_log_is_averaged_over_little_cells_of_speed() -> None:
    """By hand, cell by cell, with the numbers missing that the log did not have."""
    rng = np.random.default_rng(5)
    speed = np.sort(rng.uniform(30.0, 60.0, 9000))
    torque, oil = rng.normal(300.0, 5.0, 9000), rng.normal(90.0, 1.0, 9000)
    oil[::7] = np.nan
    low = speed < 31.0
    oil[low] = np.nan  # a gauge that woke up late
    (torques, oils), at = binned(speed, (torque, oil))
    cells = np.floor(speed / CELL)
    assert at.size == torques.size == oils.size == np.unique(cells).size
    for index, cell in enumerate(np.unique(cells)):
        inside = cells == cell
        assert at[index] == pytest.approx(speed[inside].mean())
        assert torques[index] == pytest.approx(torque[inside].mean())
        known = oil[inside][np.isfinite(oil[inside])]
        assert oils[index] == pytest.approx(known.mean()) if known.size else np.isnan(oils[index])
    assert np.isnan(oils[0])
    assert np.all(np.diff(at) > 0)


def test_speeds_that_no_engine_turns_at_are_not_thinned() -> None:
    """One wild number would make millions of cells of nothing."""
    speed = np.append(np.linspace(30.0, 90.0, 6000), 1e9)
    (torque,), at = binned(speed, (np.ones(6001),))
    assert at is speed
    assert torque.size == 6001


def test_sweep_or_steps_is_said_only_where_the_record_or_a_time_column_says_so() -> None:
    time = np.arange(0.0, 10.0, 0.05)
    speed = 30.0 + 4.0 * time
    torque = np.full(time.size, 150.0)
    by_time = select_rows(log(engine_speed=speed, torque=torque, time=time))
    assert by_time.kind == "sweep"
    assert by_time.notes[0].startswith("sweep: the rising part")
    unknown = select_rows(log(engine_speed=speed, torque=torque))
    assert unknown.kind is None
    assert unknown.notes == ("sweep or steps not recorded: every row",)
    stated = select_rows(log(engine_speed=speed, torque=torque), stated_kind="steps")
    assert stated.kind == "steps"
    assert stated.notes == ("step test: every row",)
