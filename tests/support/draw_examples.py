"""One ordinary example of every drawing, and the same with whatever text is asked for in every label."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np

from builder.draw.charts.channels import Breach, Channel, Channels, Trace, channels
from builder.draw.charts.comparison import (
    GainCurve,
    Level,
    SettingSweep,
    SignificantRange,
    gain_curve,
    setting_sweep,
)
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.charts.piston_speed import PistonSpeed, piston_speed
from builder.draw.charts.positions import BoreMap, BoreReadings, Position, Positions, bore_map, positions
from builder.draw.charts.power import Overlay, PowerCurves, Pull, overlay, power_curves
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
from builder.draw.footnotes import Caution
from builder.draw.formula import formula
from builder.draw.style import WIDE, Size

Say = Callable[[str], str]
Draw = Callable[[Say, Size], Drawing]
SPEED = np.linspace(2400.0, 5600.0, 60)


def ordinary(text: str) -> str:
    return text


def curve(say: Say, label: str, gain: float = 0.0, raw: bool = True) -> Pull:
    torque = (445 - ((SPEED - 3400) / 300) ** 2) * (1 + gain)
    shake = 1 + 0.004 * np.sin(SPEED * 1.7)
    power = torque * SPEED / 5252.113
    extra = {"raw_speed": SPEED, "raw_torque": torque * shake, "raw_power": power * shake} if raw else {}
    return Pull(say(label), SPEED, torque, power, **extra)


def _power(say: Say, size: Size) -> Drawing:
    pulls = tuple(curve(say, f"Pull {i + 1}, {68 + i} jets", 0.004 * i) for i in range(3))
    cautions = (Caution(say("Factor outside the range of the standard"), 2400, 2900), Caution(say("No barometer")))
    return power_curves(PowerCurves(pulls, 2, cautions=cautions), size=size)


def _overlay(say: Say, size: Size) -> Drawing:
    names = ("Harbour launch six", "Hill-climb four", "Orchard pump", "Sidecar twin")
    builds = tuple(curve(say, n, 0.03 * i, raw=False) for i, n in enumerate(names))
    return overlay(Overlay(builds, "lbf ft/L", "hp/L"), size=size)


def _stack(say: Say, size: Size) -> Drawing:
    return stack_up(StackUp(say("in"), 1.75, 6.0, 1.46, 9.26, 4.0, 0.04, None, 1.56), size=size)


def _valves(say: Say, size: Size) -> Drawing:
    def lobe(centre: float, wide: float) -> tuple[np.ndarray, np.ndarray]:
        angle = np.linspace(centre - wide / 2, centre + wide / 2, 121)
        return angle, 0.55 * np.cos((angle - centre) / wide * np.pi) ** 2

    exhaust = ValveCurve(
        say("Exhaust"), *lobe(-112, 300), Event(-232, say("52° before BDC")), Event(8, say("8° after TDC")),
        [-232, -112, 8], [0.05, 0.55, 0.05],
    )  # fmt: skip
    intake = ValveCurve(
        say("Intake"), *lobe(106, 296), Event(-12, say("12° before TDC")), Event(224, say("44° after BDC")),
        [-12, 106, 224], [0.05, 0.55, 0.05], say("Intake 0.550 in"),
    )  # fmt: skip
    return valve_timing(ValveTiming(exhaust, intake, say("in"), 0.05, say("at 0.050 in"), say("20°")), size=size)


def _ring(say: Say, size: Size) -> Drawing:
    exhaust = RingArc(say("Exhaust"), Event(128, say("52° before BDC")), Event(8, say("8° after TDC")), say("240°"))
    intake = RingArc(say("Intake"), Event(-12, say("12° before TDC")), Event(224, say("44° after BDC")), say("236°"))
    return timing_ring(TimingRing((exhaust, intake), say("at 0.050 in")), size=size)


def _piston(say: Say, size: Size) -> Drawing:
    angle = np.linspace(0, 360, 361)
    speed = 20 * np.sin(np.radians(angle)) * (1 + 0.3 * np.cos(np.radians(angle)))
    return piston_speed(PistonSpeed(angle, speed, say("m/s"), say("5,500 rpm"), 12.7), size=size)


def _positions(say: Say, size: Size) -> Drawing:
    values = (0.0024, 0.0025, 0.0023, 0.0026, 0.0031, float("nan"), 0.0025, 0.0024)
    at = tuple(Position(say(str(i + 1)), v) for i, v in enumerate(values))
    return positions(
        Positions(say("Rod oil clearance"), say("in"), at, 0.002, 0.003, 4, say("maker's sheet"), 4), size=size
    )


def _bores(say: Say, size: Size) -> Drawing:
    bores = tuple(
        BoreReadings(say(f"Cyl {i + 1}"), [[4.0305 + 0.0001 * ((i + j * k) % 5) for k in (1, 3)] for j in range(3)])
        for i in range(8)
    )
    depths = tuple(say(d) for d in ("Top", "Middle", "Bottom"))
    return bore_map(BoreMap(say("in"), depths, (say("Along"), say("Across")), bores, 4.0303, 4.0308), size=size)


def _gain(say: Say, size: Size) -> Drawing:
    gain = 8 / (1 + np.exp(-(SPEED - 3300) / 200)) + 0.5 * np.sin(SPEED)
    beyond = (SignificantRange(3200, 5600, say("worth 7.1 ± 1.2")),)
    return gain_curve(
        GainCurve(say("Pull 3 less pull 2"), say("lbf ft"), SPEED, gain, 2.4, beyond, verdict=say("Worth having.")),
        size=size,
    )


def _sweep(say: Say, size: Size) -> Drawing:
    levels = tuple(Level(x, y, say(f"Pull {i + 1}"), i) for i, (x, y) in enumerate(((28, 398), (31, 409), (34, 412))))
    a, b, c = np.polyfit([28, 31, 34], [398, 409, 412], 2)
    return setting_sweep(
        SettingSweep(
            say("Spark advance"), say("°"), say("Peak power"), say("hp"), levels, (a, b, c), -b / (2 * a),
            say("Best near 33.6°."), (Caution(say("More advance can start detonation.")),),
        ),
        size=size,
    )  # fmt: skip


def _channels(say: Say, size: Size) -> Drawing:
    def traces(base: float) -> tuple[Trace, ...]:
        return tuple(Trace(say(f"Pull {i + 1}"), SPEED, base + i + SPEED / 500, i) for i in range(3))

    low = Channel(say("Oil pressure"), say("psi"), traces(50), 56, None, (Breach(2400, 54.8, say("low at 2,400 rpm")),))
    return channels(Channels((low, Channel(say("Coolant"), say("°C"), traces(80), 78, 95))), size=size)


def _pattern(say: Say, size: Size) -> Drawing:
    at = ((3, 1), (3, 0), (2, 1), (4, 1), (2, 0), (4, 0), (1, 1), (5, 1), (1, 0), (5, 0))
    return tightening_pattern(
        TighteningPattern(say("Cylinder head"), at, say("front"), say("rear"), say("In three steps.")), size=size
    )


def _scatter(say: Say, size: Size) -> Drawing:
    dots = tuple(
        Dot(8 + i % 5 * 0.7, 150 + i * 7 % 50, say(f"Build {i}"), f"../builds/{i}/", i % 3, here=i == 3)
        for i in range(14)
    )
    groups = (say("Marine"), say("Racing"), say("Road"))
    return scatter(Scatter(say("Compression ratio"), ":1", say("Bmep"), say("psi"), dots, groups), size=size)


def _formula(say: Say, size: Size) -> Drawing:
    return formula(r"\mathrm{CR} = \dfrac{V_s + V_c}{V_c}", say("CR = (swept + clearance) / clearance"))


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
    "scatter": _scatter,
    "formula": _formula,
}


@cache
def example(name: str, say: Say = ordinary, size: Size = WIDE) -> Drawing:
    """The example, drawn once for all tests."""
    return EXAMPLES[name](say, size)
