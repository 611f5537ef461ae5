"""An example of every drawing, with its labels as they are or changed by a function."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from builder.draw.charts.channels import Channels, ChannelTrace, Trace, ViolationPoint, channels
from builder.draw.charts.comparison import (
    GainCurve,
    Level,
    SettingSweep,
    SignificantRange,
    gain_curve,
    setting_sweep,
)
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.charts.engine_history import (
    HoursSeries,
    OverHours,
    WearPositions,
    WearState,
    over_hours,
    wear_positions,
)
from builder.draw.charts.piston_speed import PistonSpeed, piston_speed
from builder.draw.charts.port_map import PortMap, PortShape, port_map
from builder.draw.charts.positions import BoreMap, BoreReadings, Position, Positions, bore_map, positions
from builder.draw.charts.power import Overlay, PowerCurves, PullCurves, overlay, power_curves
from builder.draw.charts.scatter import Dot, Scatter, scatter
from builder.draw.charts.tightening import TighteningPattern, tightening_pattern
from builder.draw.charts.valve_timing import (
    Event,
    RingArc,
    TimingRing,
    ValveCurve,
    ValveTiming,
    timing_ring,
    valve_timing,
)
from builder.draw.drawing import Drawing
from builder.draw.formula import formula
from builder.draw.style import NARROW, WIDE, Size

Wording = Callable[[str], str]
Draw = Callable[[Wording, Size], Drawing]
SPEED = np.linspace(2400.0, 5600.0, 60)
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


def unchanged(text: str) -> str:
    """Return a label as it is."""
    return text


def curve(text: Wording, label: str, gain: float = 0.0, raw: bool = True) -> PullCurves:
    torque = (445 - ((SPEED - 3400) / 300) ** 2) * (1 + gain)
    shake = 1 + 0.004 * np.sin(SPEED * 1.7)
    power = torque * SPEED / 5252.113
    extra = {"raw_speed": SPEED, "raw_torque": torque * shake, "raw_power": power * shake} if raw else {}
    return PullCurves(text(label), SPEED, torque, power, **extra)


def _power(text: Wording, size: Size) -> Drawing:
    pulls = tuple(curve(text, f"Pull {i + 1}, {68 + i} jets", 0.004 * i) for i in range(3))
    cautions = (text("Factor outside the range of the standard"), text("No barometer"))
    return power_curves(PowerCurves(pulls, 2, cautions=cautions), size=size)


def _overlay(text: Wording, size: Size) -> Drawing:
    names = ("Harbour launch six", "Hill-climb four", "Orchard pump", "Sidecar twin")
    builds = tuple(curve(text, n, 0.03 * i, raw=False) for i, n in enumerate(names))
    return overlay(Overlay(builds, "lbf ft/L", "hp/L"), size=size)


def _stack(text: Wording, size: Size) -> Drawing:
    return stack_up(StackUp(text("in"), 1.75, 6.0, 1.46, 9.26, 4.0, 0.04, None, 1.56), size=size)


def _valves(text: Wording, size: Size) -> Drawing:
    def lobe(centre: float, wide: float) -> tuple[np.ndarray, np.ndarray]:
        angle = np.linspace(centre - wide / 2, centre + wide / 2, 121)
        return angle, 0.55 * np.cos((angle - centre) / wide * np.pi) ** 2

    exhaust = ValveCurve(
        text("Exhaust"), *lobe(-112, 300), Event(-232, text("52° before BDC")), Event(8, text("8° after TDC")),
        [-232, -112, 8], [0.05, 0.55, 0.05],
    )  # fmt: skip
    intake = ValveCurve(
        text("Intake"), *lobe(106, 296), Event(-12, text("12° before TDC")), Event(224, text("44° after BDC")),
        [-12, 106, 224], [0.05, 0.55, 0.05], text("Intake 0.550 in"),
    )  # fmt: skip
    return valve_timing(ValveTiming(exhaust, intake, text("in"), 0.05, text("at 0.050 in"), text("20°")), size=size)


def _ring(text: Wording, size: Size) -> Drawing:
    exhaust = RingArc(text("Exhaust"), Event(128, text("52° before BDC")), Event(8, text("8° after TDC")), text("240°"))
    intake = RingArc(
        text("Intake"), Event(-12, text("12° before TDC")), Event(224, text("44° after BDC")), text("236°")
    )
    return timing_ring(TimingRing((exhaust, intake), text("at 0.050 in")), size=size)


def _piston(text: Wording, size: Size) -> Drawing:
    angle = np.linspace(0, 360, 361)
    speed = 20 * np.sin(np.radians(angle)) * (1 + 0.3 * np.cos(np.radians(angle)))
    return piston_speed(PistonSpeed(angle, speed, text("m/s"), text("5,500 rpm"), 12.7), size=size)


def _positions(text: Wording, size: Size) -> Drawing:
    values = (0.0024, 0.0025, 0.0023, 0.0026, 0.0031, float("nan"), 0.0025, 0.0024)
    at = tuple(Position(text(str(i + 1)), v) for i, v in enumerate(values))
    return positions(
        Positions(text("Rod oil clearance"), text("in"), at, 0.002, 0.003, 4, text("maker's sheet"), 4),
        size=size,
    )


def _bores(text: Wording, size: Size) -> Drawing:
    bores = tuple(
        BoreReadings(text(f"Cyl {i + 1}"), [[4.0305 + 0.0001 * ((i + j * k) % 5) for k in (1, 3)] for j in range(3)])
        for i in range(8)
    )
    depths = tuple(text(d) for d in ("Top", "Middle", "Bottom"))
    return bore_map(BoreMap(text("in"), depths, (text("Along"), text("Across")), bores), size=size)


def _gain(text: Wording, size: Size) -> Drawing:
    gain = 8 / (1 + np.exp(-(SPEED - 3300) / 200)) + 0.5 * np.sin(SPEED)
    beyond = (SignificantRange(3200, 5600, text("worth 7.1 ± 1.2")),)
    return gain_curve(
        GainCurve(text("Pull 3 less pull 2"), text("lbf ft"), SPEED, gain, 2.4, beyond, verdict=text("Worth having.")),
        size=size,
    )


def _sweep(text: Wording, size: Size) -> Drawing:
    levels = tuple(Level(x, y, text(f"Pull {i + 1}"), i) for i, (x, y) in enumerate(((28, 398), (31, 409), (34, 412))))
    a, b, c = np.polyfit([28, 31, 34], [398, 409, 412], 2)
    return setting_sweep(
        SettingSweep(
            text("Spark advance"), text("°"), text("Peak power"), text("hp"), levels, (a, b, c), -b / (2 * a),
            text("Best near 33.6°."),
        ),
        size=size,
    )  # fmt: skip


def _channels(text: Wording, size: Size) -> Drawing:
    def traces(base: float) -> tuple[Trace, ...]:
        return tuple(Trace(text(f"Pull {i + 1}"), SPEED, base + i + SPEED / 500, i) for i in range(3))

    low = ChannelTrace(
        text("Oil pressure"),
        text("psi"),
        traces(50),
        56,
        None,
        (ViolationPoint(2400, 54.8, text("low at 2,400 rpm")),),
    )
    return channels(Channels((low, ChannelTrace(text("Coolant"), text("°C"), traces(80), 78, 95))), size=size)


def _pattern(text: Wording, size: Size) -> Drawing:
    at = ((3, 1), (3, 0), (2, 1), (4, 1), (2, 0), (4, 0), (1, 1), (5, 1), (1, 0), (5, 0))
    return tightening_pattern(
        TighteningPattern(text("Cylinder head"), at, text("In three steps.")),
        size=size,
    )


def _ports(text: Wording, size: Size) -> Drawing:
    ports = (
        PortShape(text("exhaust"), 1, 26.5, 37.0, 0.0, opens=80.9),
        PortShape(text("transfer"), 4, 37.1, 16.5, 75.0, opens=103.4),
        PortShape(text("boost"), 1, 36.6, 14.0, 180.0, opens=102.3),
    )
    return port_map(PortMap(text("mm"), 54.0, 0.3, 54.8, ports), size=size)


def _scatter(text: Wording, size: Size) -> Drawing:
    dots = tuple(Dot(8 + i % 5 * 0.7, 150 + i * 7 % 50, text(f"Build {i}"), f"../builds/{i}/") for i in range(14))
    return scatter(Scatter(text("Compression ratio"), ":1", text("Bmep"), text("psi"), dots), size=size)


def _formula(text: Wording, size: Size) -> Drawing:
    return formula(r"\mathrm{CR} = \dfrac{V_s + V_c}{V_c}", text("CR = (swept + clearance) / clearance"))


def _wear(text: Wording, size: Size) -> Drawing:
    states = (
        WearState(text("built 2022-03-04"), (4.0305, 4.0304, 4.0306, 4.0305), 0.0001),
        WearState(text("returned 2024-02-10"), (4.0312, 4.0311, 4.0318, np.nan), 0.0001),
        WearState(text("rebuilt 2024-05-17"), (4.0405, 4.0404, 4.0406, 4.0405), 0.0001),
    )
    places = tuple(text(str(place)) for place in range(1, 5))
    data = WearPositions(text("Bores"), "in", places, states, high=4.0355, decimals=4)
    return wear_positions(data, size=size)


def _hours(text: Wording, size: Size) -> Drawing:
    series = (
        HoursSeries(text("build 0142"), (10.0, 22.0, 41.0), (12.0, 14.0, 22.0)),
        HoursSeries(text("build 0203"), (8.0, 19.0), (9.0, 31.0)),
    )
    return over_hours(OverHours(text("Iron in the oil"), "ppm", series, 30.0, decimals=0), size=size)


EXAMPLES: dict[str, Draw] = {
    "power_curves": _power,
    "overlay": _overlay,
    "stack_up": _stack,
    "valve_timing": _valves,
    "timing_ring": _ring,
    "piston_speed": _piston,
    "positions": _positions,
    "bore_map": _bores,
    "gain_curve": _gain,
    "setting_sweep": _sweep,
    "channels": _channels,
    "tightening_pattern": _pattern,
    "port_map": _ports,
    "scatter": _scatter,
    "formula": _formula,
    "wear_positions": _wear,
    "over_hours": _hours,
}


@cache
def example(name: str, text: Wording = unchanged, size: Size = WIDE) -> Drawing:
    """Return the example, drawn once for all tests of a worker."""
    return EXAMPLES[name](text, size)
