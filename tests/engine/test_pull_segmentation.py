"""The loaded rising part of a log, as a dyno room would mark it by hand."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.pull_segmentation import loaded_part


def torque(rpm: np.ndarray) -> np.ndarray:
    return 400 + 60 * np.exp(-(((rpm - 4500) / 1200) ** 2))


class Log:
    """A log made of stretches: seconds, from and to speed [rev/min], share of full load."""

    def __init__(self, rows_per_second: float, noise: float, stretches: list[tuple[float, float, float, float]]):
        rng = np.random.default_rng(5)
        rpm, load, self.edges = [], [], [0]
        for seconds, low, high, share in stretches:
            rows = max(2, round(seconds * rows_per_second))
            rpm.append(np.linspace(low, high, rows, endpoint=False))
            load.append(np.full(rows, share))
            self.edges.append(self.edges[-1] + rows)
        self.rpm = np.concatenate(rpm)
        self.torque = torque(self.rpm) * np.concatenate(load) + rng.normal(0, noise / 2, self.rpm.size)
        self.speed = (self.rpm + rng.normal(0, noise, self.rpm.size)) / 60
        self.time = np.arange(self.rpm.size) / rows_per_second


def usual(rows_per_second: float, noise: float, sweep: float = 15.0, hold: float = 3.0) -> Log:
    return Log(
        rows_per_second,
        noise,
        [
            (5, 900, 900, 0.03),
            (1.2, 900, 2000, 0.08),
            (0.4, 2000, 2000, 0.6),
            (hold, 2000, 2000, 1.0),
            (sweep, 2000, 6500, 1.0),
            (6, 6500, 1200, -0.1),
            (2, 1200, 900, 0.02),
        ],
    )


@pytest.mark.parametrize(
    ("rate", "noise", "sweep", "hold"),
    [(10, 5, 11, 3), (50, 5, 11, 3), (100, 8, 15, 3), (1000, 15, 15, 3), (10, 2, 5, 3), (100, 8, 15, 40)],
)
@pytest.mark.parametrize("columns", ["all", "no time", "no torque"])
def test_the_sweep_is_found_and_the_rest_is_left_out(
    rate: float, noise: float, sweep: float, hold: float, columns: str
) -> None:
    log = usual(rate, noise, sweep, hold)
    found = loaded_part(
        log.speed,
        None if columns == "no torque" else log.torque,
        None if columns == "no time" else log.time,
    )
    start, stop = log.edges[4], log.edges[5]
    little = 0.03 * (stop - start) + 2
    assert found.kind == "sweep"
    assert abs(found.start - start) <= little
    assert abs(found.stop - stop) <= little
    assert found.mask.sum() == found.stop - found.start


def test_excluded_rows_have_a_text() -> None:
    found = loaded_part(*(lambda log: (log.speed, log.torque, log.time))(usual(50, 5)))
    assert [each.part for each in found.excluded] == ["idle", "run-up", "steady hold", "coast-down"]
    idle, run_up, hold, coast = found.excluded_texts
    assert "rev/min" in idle
    assert run_up.startswith("run-up from ")
    assert " s)" in hold
    assert coast.startswith("coast-down from 6")
    covered = sum(each.stop - each.start for each in found.excluded)
    assert covered + found.mask.sum() == found.mask.size


def test_of_two_pulls_in_one_log_the_wider_is_taken_and_the_other_listed() -> None:
    log = Log(
        20,
        4,
        [
            (3, 900, 900, 0.03),
            (6, 2500, 4500, 1.0),
            (4, 4500, 1500, -0.1),
            (3, 1500, 1500, 0.05),
            (12, 2000, 6500, 1.0),
            (6, 6500, 900, -0.1),
        ],
    )
    found = loaded_part(log.speed, log.torque, log.time)
    assert abs(found.start - log.edges[4]) < 12
    assert "another rising part" in [each.part for each in found.excluded]


def test_a_step_test_keeps_its_steady_rows() -> None:
    stretches: list[tuple[float, float, float, float]] = []
    for level in range(2000, 6500, 500):
        stretches += [(10, level, level, 1.0), (1.5, level, level + 500, 1.0)]
    log = Log(10, 3, stretches[:-1])
    found = loaded_part(log.speed, log.torque, log.time)
    assert found.kind == "steps"
    assert 0.9 * 900 < found.mask.sum() <= 910
    held = np.repeat(np.arange(len(log.edges) - 1) % 2 == 0, np.diff(log.edges))
    assert found.mask[held].mean() > 0.97
    assert found.mask[~held].mean() < 0.3
    assert {each.part for each in found.excluded} == {"between steps"}


@pytest.mark.parametrize(
    "rpm",
    [
        np.arange(2000.0, 6600.0, 50.0),
        np.arange(6500.0, 1900.0, -250.0),
        np.array([2000.0, 2500, 3000, 3500, 4000]),
        np.array([3000.0, 2000, 2500, 4000, 3500, 5000, 4500, 6000, 5500]),
        np.repeat(np.arange(2000.0, 6500.0, 500.0), 2),
        np.array([3000.0]),
    ],
)
def test_rows_per_speed_are_all_used(rpm: np.ndarray) -> None:
    found = loaded_part(rpm / 60, torque(rpm))
    assert found.kind == "rows per speed"
    assert found.mask.all()
    assert found.excluded == ()


def test_rows_without_numbers_are_excluded_and_listed() -> None:
    rpm = np.arange(2000.0, 6600.0, 50.0)
    speed, values = rpm / 60, torque(rpm)
    speed[3], values[10] = np.nan, np.inf
    found = loaded_part(speed, values)
    assert np.flatnonzero(~found.mask).tolist() == [3, 10]
    assert any("without a speed or torque" in words for words in found.excluded_texts)


def test_a_log_in_which_nothing_rises_is_used_in_full() -> None:
    rng = np.random.default_rng(6)
    rpm = np.full(500, 3000.0) + rng.normal(0, 2, 500)
    found = loaded_part(rpm / 60, np.full(500, -5.0), np.arange(500) / 10)
    assert found.mask.all()


def test_time_that_runs_backwards_is_no_time() -> None:
    log = usual(50, 5)
    with_it = loaded_part(log.speed, log.torque, log.time[::-1].copy())
    without = loaded_part(log.speed, log.torque)
    np.testing.assert_array_equal(with_it.mask, without.mask)


def test_errors_are_plain() -> None:
    with pytest.raises(ValueError, match="no row has a speed"):
        loaded_part([np.nan], [1.0])
    with pytest.raises(ValueError, match="torque has 1 rows"):
        loaded_part([1.0, 2.0], [1.0])


def test_a_million_rows_are_one_pull() -> None:
    log = usual(30_000, 15)
    assert log.speed.size > 900_000
    found = loaded_part(log.speed, log.torque, log.time)
    assert abs(found.start - log.edges[4]) < 0.01 * log.speed.size
    assert len(found.excluded) < 8


def test_a_coarse_log_of_rise_and_coast_down_counts_the_rise_alone() -> None:
    """Readings every 200 rpm, up under load and down with the throttle shut: their mean would be half the torque."""
    up = np.arange(2000, 6001, 200) / 60
    speed, torque = np.concatenate([up, up[::-1]]), np.concatenate([np.full(up.size, 120.0), np.full(up.size, -10.0)])
    found = loaded_part(speed, torque)
    assert found.kind == "rows per speed"
    assert found.mask.tolist() == [True] * up.size + [False] * up.size
    assert [(item.part, item.start, item.stop) for item in found.excluded] == [("coast-down", up.size, 2 * up.size)]
    assert loaded_part(speed, np.abs(torque)).mask.all()
    assert loaded_part(up, np.concatenate([[-0.2], np.full(up.size - 1, 120.0)])).mask.all()
