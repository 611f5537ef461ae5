"""Dyno sessions of the demonstration archive: the family of small-block V8s."""

from __future__ import annotations

from tests.demo.engine_model import PETROL, Noise, Tune
from tests.demo.engine_specs import PullSpec, Session, Sweep, hecto, inch
from tests.demo.logs import Column, Dialect
from tests.demo.small_block import small_block

_PLAIN = Dialect(
    (
        Column("engine_speed", "RPM", "rpm", 0),
        Column("torque", "Torque", "lb-ft", 1),
        Column("power", "Power", "hp", 1),
        Column("lambda", "Lambda", "", 3),
        Column("oil_pressure", "Oil pressure", "psi", 1),
        Column("oil_temperature", "Oil temp", "degF", 0),
    ),
)
_STREET = inch(29.88, 68, 0.52)

STREET = Session(
    slug="street-coupe-v8",
    engine=small_block(4.0305, 3.550, 9.61, PETROL, duration=220, flow=235),
    dialect=_PLAIN,
    pulls=(
        PullSpec("run1.csv", 2000, 5900, 100, _STREET, Tune(0.945, lam_slope=0.015, spark=34)),
        PullSpec("run2.csv", 2000, 5900, 100, _STREET, Tune(0.885, spark=34), warm=2),
        PullSpec("run3.csv", 2000, 5900, 100, _STREET, Tune(0.885, spark=34), warm=3),
    ),
)

_JUNE = hecto(1007.8, 22, 0.48)

PICKUP = Session(
    slug="pickup-v8",
    engine=small_block(4.0306, 3.550, 10.02, PETROL, duration=230, flow=249),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("lambda", "Lambda", "", 3),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Water temp", "degF", 0),
        ),
        units_in="row",
        before=("# pickup",),
    ),
    noise=Noise(0.003, 0.0015),
    pulls=(
        PullSpec("a.csv", 1800, 6000, 100, _JUNE, Tune(0.93, spark=33)),
        PullSpec("b.csv", 1800, 6000, 100, _JUNE, Tune(0.88, spark=33), warm=1),
        PullSpec("c.csv", 1800, 6000, 100, _JUNE, Tune(0.88, spark=33), warm=2),
    ),
)

_SPRING_LAKE = inch(30.02, 61, 0.58)

SKI_BOAT = Session(
    slug="ski-boat-v8",
    engine=small_block(4.0304, 3.550, 9.15, PETROL, duration=218, flow=212, headers=False),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("fuel_flow", "Fuel flow", "lb/h", 1),
            Column("lambda", "Lambda", "", 3),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Water temp", "degF", 0),
        ),
        units_in="row",
    ),
    noise=Noise(0.003, 0.0015),
    pulls=tuple(
        PullSpec(file, 1800, 5200, 100, _SPRING_LAKE, Tune(0.87, spark=spark), warm=warm)
        for warm, (file, spark) in enumerate(
            (("a-26.csv", 26), ("b-28.csv", 28), ("c-30.csv", 30), ("d-32.csv", 32), ("e-30.csv", 30))
        )
    ),
)

_MARCH = inch(29.74, 61, 0.63)
_OVAL_EXHAUST = (7, -12, 4, 9, -6, 3, -9, 5)

OVAL = Session(
    slug="dirt-oval-v8",
    engine=small_block(
        4.0306, 3.550, 10.80, PETROL, duration=240, flow=253, single_plane=True, exhaust_offsets=_OVAL_EXHAUST
    ),
    dialect=Dialect(
        (*_PLAIN.columns, *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degF", 0) for i in range(1, 9))),
        before=("# dirt oval, class rules",),
    ),
    pulls=(
        PullSpec("01.csv", 3200, 7000, 100, _MARCH, Tune(0.93, lam_slope=0.01, spark=34)),
        PullSpec("02.csv", 3200, 7000, 100, _MARCH, Tune(0.87, spark=34), warm=2),
        PullSpec("03.csv", 3200, 7000, 100, _MARCH, Tune(0.87, spark=34), warm=3),
        PullSpec("04.csv", 3200, 7000, 100, _MARCH, Tune(0.87, spark=38), warm=4),
    ),
)

_STRIP = Dialect(
    (
        Column("time", "Time", "s", 1),
        Column("engine_speed", "Engine RPM", "rpm", 0),
        Column("torque", "Torque", "lb-ft", 1),
        Column("power", "Power", "hp", 1),
        Column("lambda", "Lambda", "", 3),
        Column("oil_pressure", "Oil pressure", "psi", 1),
        Column("oil_temperature", "Oil temp", "degF", 0),
        Column("manifold_pressure", "MAP", "kPa", 1),
    ),
)
_SWEEP = Sweep(every=0.2, rise=300, inertia=0.0)
"""The dyno takes the inertia out by itself."""
_DRAG_2016, _DRAG_2018, _DRAG_2021 = inch(30.11, 62, 0.49), inch(29.69, 63, 0.55), inch(29.97, 60, 0.61)


def _drag(slug: str, bore: float, ratio: float, duration: float, flow: float, pulls: tuple[PullSpec, ...]) -> Session:
    engine = small_block(bore, 3.750, ratio, PETROL, duration=duration, flow=flow, single_plane=True)
    return Session(slug, engine, _STRIP, pulls, Noise(0.004, 0.0016))


DRAG = _drag(
    "bracket-drag-v8", 4.0306, 11.26, 242, 297,
    (
        PullSpec("1.csv", 3800, 7300, 100, _DRAG_2016, Tune(0.93, spark=35), sweep=_SWEEP),
        PullSpec("2.csv", 3800, 7300, 100, _DRAG_2016, Tune(0.875, spark=35), warm=1, sweep=_SWEEP),
        PullSpec("3.csv", 3800, 7300, 100, _DRAG_2016, Tune(0.875, spark=35), warm=2, sweep=_SWEEP),
        PullSpec("4.csv", 3800, 7300, 100, _DRAG_2016, Tune(0.875, spark=35), warm=3, sweep=_SWEEP),
        PullSpec("5.csv", 3800, 7300, 100, _DRAG_2016, Tune(0.875, spark=35, ve_shift=170, ve_scale=1.001), warm=3,
                 sweep=_SWEEP),
    ),
)  # fmt: skip
DRAG_AGAIN = _drag(
    "bracket-drag-v8-2018", 4.0312, 11.24, 242, 297,
    (
        PullSpec("1.csv", 3800, 7300, 100, _DRAG_2018, Tune(0.875, spark=35), sweep=_SWEEP),
        PullSpec("2.csv", 3800, 7300, 100, _DRAG_2018, Tune(0.875, spark=35), warm=2, sweep=_SWEEP),
    ),
)  # fmt: skip
DRAG_FASTER = _drag(
    "bracket-drag-v8-2021", 4.0405, 12.05, 248, 313,
    (
        PullSpec("1.csv", 4000, 7500, 100, _DRAG_2021, Tune(0.92, spark=35), sweep=_SWEEP),
        PullSpec("2.csv", 4000, 7500, 100, _DRAG_2021, Tune(0.872, spark=35), warm=1, sweep=_SWEEP),
        PullSpec("3.csv", 4000, 7500, 100, _DRAG_2021, Tune(0.872, spark=33), warm=2, sweep=_SWEEP),
        PullSpec("4.csv", 4000, 7500, 100, _DRAG_2021, Tune(0.872, spark=33), warm=3, sweep=_SWEEP),
    ),
)  # fmt: skip

_LONGSTONE = hecto(1002.6, 19, 0.47)

CIRCUIT = Session(
    slug="historic-circuit-v8",
    engine=small_block(4.0303, 3.550, 10.96, PETROL, duration=234, flow=250, single_plane=True),
    dialect=Dialect(
        (
            Column("engine_speed", "Régime", "1/min", 0),
            Column("torque", "Couple", "N m", 1),
            Column("power", "Puissance", "kW", 1),
            Column("oil_pressure", "Pression d'huile", "bar", 2),
            Column("oil_temperature", "Température d'huile", "°C", 0),
        ),
        delimiter=";",
        decimal=",",
        encoding="cp1252",
        newline="\r\n",
        before=("Banc d'essai;cellule 2", "Essai;V8 5,9 l"),
    ),
    noise=Noise(0.005, 0.002),
    pulls=(
        PullSpec("essai-1.csv", 3000, 7000, 100, _LONGSTONE, Tune(0.94, spark=36)),
        PullSpec("essai-2.csv", 3000, 7000, 100, _LONGSTONE, Tune(0.88, spark=36), warm=2),
        PullSpec("essai-3.csv", 3000, 7000, 100, _LONGSTONE, Tune(0.88, spark=36), warm=3),
        PullSpec(
            "essai-4.csv", 3000, 7000, 100, _LONGSTONE, Tune(0.88, spark=36, ve_shift=-260, ve_scale=1.004), warm=4
        ),
    ),
)
