"""The advance curve of a distributor."""

from __future__ import annotations

import pytest

from builder.engine import ignition
from builder.engine.validation import InputConflict

SPEED, ADVANCE = [10.0, 20.0, 40.0], [0.0, 10.0, 22.0]


def test_advance_follows_the_curve_and_holds_at_its_ends() -> None:
    assert ignition.advance_at(5.0, SPEED, ADVANCE) == 0.0
    assert ignition.advance_at(15.0, SPEED, ADVANCE) == 5.0
    assert ignition.advance_at(90.0, SPEED, ADVANCE) == 22.0


def test_total_timing_counts_the_advance_at_idle_once() -> None:
    assert ignition.total_timing(12.0, 2.0, 22.0) == 32.0


def test_full_advance_is_in_where_the_curve_first_reaches_it() -> None:
    assert ignition.full_advance_speed([10.0, 20.0, 40.0, 60.0], [0.0, 10.0, 22.0, 22.0]) == 40.0


@pytest.mark.parametrize(
    ("speed", "advance", "message"),
    [
        ([10.0, 10.0], [0.0, 1.0], "must increase"),
        ([10.0, 20.0], [0.0], "needs its advance"),
        ([], [], "needs its advance"),
    ],
)
def test_a_curve_that_cannot_be_is_refused(speed: list[float], advance: list[float], message: str) -> None:
    with pytest.raises(InputConflict, match=message):
        ignition.advance_at(15.0, speed, advance)
