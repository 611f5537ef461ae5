"""Lift curves and the ring of events."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.draw.charts.valve_timing import (
    Event,
    RingArc,
    TimingRing,
    ValveCurve,
    ValveTiming,
    timing_ring,
    valve_timing,
)
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import SVG, label_conflicts, label_texts, parse_svg

NAN = math.nan


def lobe(centre: float, wide: float = 300.0, most: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    angle = np.linspace(centre - wide / 2, centre + wide / 2, 61)
    return angle, most * np.cos((angle - centre) / wide * np.pi) ** 2


def test_valve_timing_says_that_the_shape_is_approximate() -> None:
    data = ValveTiming(ValveCurve("Exhaust", *lobe(-116)), ValveCurve("Intake", *lobe(104, most=0.618)), "in")
    drawing = valve_timing(data)
    assert "approximate" in " ".join(label_texts(drawing))
    assert drawing.description.endswith("approximate.")
    assert "Intake: most lift 0.618 in at 104 degrees" in drawing.description


@SIZES
def test_one_valve_alone_and_lobes_apart_are_drawn(size: Size) -> None:
    alone = ValveTiming(ValveCurve("Exhaust", [], []), ValveCurve("Intake", *lobe(104)), "mm", 1.0, "at 1 mm")
    assert label_conflicts(valve_timing(alone, size=size)) == []
    apart = ValveTiming(ValveCurve("Exhaust", *lobe(-300, 100)), ValveCurve("Intake", *lobe(300, 100)), "mm")
    assert label_conflicts(valve_timing(apart, size=size)) == []
    gap = ValveTiming(ValveCurve("Exhaust", [0, 10, 20], [0, NAN, 1]), ValveCurve("Intake", [5.0], [0.2]), "mm")
    assert label_conflicts(valve_timing(gap, size=size)) == []


def test_no_valve_lift_is_refused() -> None:
    with pytest.raises(ValueError, match="no known point of valve lift"):
        valve_timing(ValveTiming(ValveCurve("E", [], []), ValveCurve("I", [1.0], [NAN]), "mm"))
    with pytest.raises(ValueError, match="do not pair"):
        valve_timing(ValveTiming(ValveCurve("E", [1, 2], [1]), ValveCurve("I", *lobe(100)), "mm"))


def test_events_stand_on_the_ring_clockwise_from_the_top() -> None:
    arc = RingArc("Intake", Event(0, "at TDC"), Event(90, "at 90°"))
    drawing = timing_ring(TimingRing((arc,)))
    uses = list(parse_svg(drawing).iter(f"{SVG}use"))
    spots = [(float(u.get("x", 0)), float(u.get("y", 0))) for u in uses]
    centre = drawing.width / 2, drawing.height / 2
    (x0, y0), (x1, y1) = spots[:2]
    assert x0 == pytest.approx(centre[0], abs=0.1)  # straight up
    assert y0 < centre[1]
    assert x1 > centre[0]  # to the right
    assert y1 == pytest.approx(centre[1], abs=0.1)


@SIZES
@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_rings_of_several_ports(count: int, size: Size) -> None:
    arcs = tuple(
        RingArc(
            f"Port {i}", Event(92 + 8 * i, f"{92 + 8 * i}°"), Event(-92 - 8 * i, f"{268 - 8 * i}°"), f"{176 - 16 * i}°"
        )
        for i in range(count)
    )
    assert label_conflicts(timing_ring(TimingRing(arcs, "port edge"), size=size)) == []


def test_rings_that_cannot_be_drawn_are_refused() -> None:
    arc = RingArc("Intake", Event(0, ""), Event(NAN, ""))
    with pytest.raises(ValueError, match="no valve event"):
        timing_ring(TimingRing(()))
    with pytest.raises(ValueError, match="must be numbers"):
        timing_ring(TimingRing((arc,)))
    with pytest.raises(ValueError, match="six do"):
        timing_ring(TimingRing((arc,) * 7))
