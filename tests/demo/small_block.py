"""The Thornback small-block V8 of the demonstration archive: its breathing follows from its combination.

A larger cam and freer heads move the peak up, more displacement moves it down; open headers and a manifold with one
plane add a little everywhere. How much is what such engines are commonly seen to do (common practice, no source).
"""

from __future__ import annotations

import math

from tests.demo.engine_model import Engine, Fuel

INCH = 0.0254
_BASE_VOLUME = 5937e-6  # m3


def small_block(
    bore: float,
    stroke: float,
    ratio: float,
    fuel: Fuel,
    *,
    duration: float,
    flow: float,
    headers: bool = True,
    single_plane: bool = False,
    exhaust_offsets: tuple[float, ...] = (),
) -> Engine:
    """Return the engine with this bore and stroke [in], intake duration at 0.050 in [deg] and head flow [cfm]."""
    volume = math.pi / 4 * (bore * INCH) ** 2 * stroke * INCH * 8
    cam = duration - 218
    return Engine(
        volume,
        stroke * INCH,
        8,
        ratio,
        fuel,
        ve_peak=0.955 + 0.0032 * cam + 0.02 * headers + 0.02 * single_plane,
        ve_speed=3450 * math.sqrt(flow / 228) * _BASE_VOLUME / volume * (1 + 0.0105 * cam),
        fall_below=0.24 + 0.005 * max(0.0, cam),
        fall_above=0.62 + 0.006 * max(0.0, cam),
        tuning=0.013,
        best_spark=35,
        exhaust_base=625,
        exhaust_offsets=exhaust_offsets,
        oil_per_speed=105,
        oil_relief=5.3e5,
        intake_loss=3.5e3,
    )
