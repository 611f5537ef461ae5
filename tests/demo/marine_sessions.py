"""Dyno sessions of the demonstration archive: engines for boats."""

from __future__ import annotations

from tests.demo.engine_model import DIESEL, PETROL, RACE_PETROL, Engine, Noise, Tune
from tests.demo.engine_specs import PullSpec, Session, hecto, inch
from tests.demo.logs import Column, Dialect

_LAKE = hecto(1018, 17, 0.58)

_PIPES = (("c", 860, -330, 0.994), ("d", 850, -120, 1.0), ("e", 840, 90, 1.0), ("f", 830, 300, 0.988))

HYDROPLANE = Session(
    slug="hydroplane-two-stroke",
    engine=Engine(
        249.7e-6,
        0.0545,
        2,
        8.4,
        RACE_PETROL,
        0.93,
        9500,
        fall_below=2.3,
        fall_above=4.2,
        tuning=0.02,
        efficiency=0.70,
        best_spark=24,
        two_stroke=True,
        trapping=0.83,
        exhaust_base=480,
        exhaust_offsets=(0, 9),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "RPM", "1/min", 0),
            Column("torque", "Torque", "Nm", 2),
            Column("power", "Power", "kW", 2),
            Column("exhaust_temperature_1", "EGT 1", "degC", 0),
            Column("exhaust_temperature_2", "EGT 2", "degC", 0),
        ),
        delimiter="\t",
        encoding="utf-16",
        newline="\r\n",
        units_in="row",
        quoted=True,
    ),
    noise=Noise(0.005, 0.003),
    pulls=(
        PullSpec("a-baseline.csv", 7000, 11000, 100, _LAKE, Tune(0.80, spark=24, ve_shift=-120)),
        PullSpec("b-jets-210.csv", 7000, 11000, 100, _LAKE, Tune(0.86, spark=24, ve_shift=-120)),
        *(
            PullSpec(
                f"{letter}-pipe-{length}.csv",
                7000,
                11000,
                100,
                _LAKE,
                Tune(0.86, spark=24, ve_shift=shift, ve_scale=scale),
            )
            for letter, length, shift, scale in _PIPES
        ),
    ),
)

_QUAY = hecto(1004.8, 15.5, 0.76)

DIESEL_FOUR = Session(
    slug="workboat-diesel-four",
    engine=Engine(
        3252e-6,
        0.110,
        4,
        16.9,
        DIESEL,
        0.905,
        1650,
        fall_below=0.22,
        fall_above=0.30,
        tuning=0.008,
        efficiency=0.745,
        compression_ignition=True,
        exhaust_base=330,
        exhaust_offsets=(3, -6, 8, -4),
        oil_per_speed=170,
        oil_relief=4.6e5,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 1),
            Column("power", "Power", "kW", 2),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("air_flow", "Air mass flow", "kg/h", 1),
            Column("lambda", "Lambda", "", 2),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temperature", "degC", 0),
            Column("coolant_temperature", "Water temperature", "degC", 0),
            Column("blow_by", "Blow-by", "l/min", 1),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degC", 0) for i in range(1, 5)),
        ),
        delimiter=";",
        decimal=",",
        units_in="row",
    ),
    noise=Noise(0.003, 0.0015),
    pulls=(
        PullSpec("01-pump-as-came.csv", 900, 2500, 50, _QUAY, Tune(1.24, lam_slope=0.05, work=0.985)),
        PullSpec("02-fuel-down.csv", 900, 2500, 50, _QUAY, Tune(1.31, lam_slope=0.05, work=1.0)),
        PullSpec("03-inj-14.csv", 900, 2500, 50, _QUAY, Tune(1.31, lam_slope=0.05, work=0.982), warm=1),
        PullSpec("04-inj-16.csv", 900, 2500, 50, _QUAY, Tune(1.31, lam_slope=0.05, work=1.0), warm=2),
        PullSpec("05-inj-18.csv", 900, 2500, 50, _QUAY, Tune(1.31, lam_slope=0.05, work=0.992), warm=3),
        PullSpec("06-as-delivered.csv", 900, 2500, 50, _QUAY, Tune(1.31, lam_slope=0.05, work=1.0), warm=2),
    ),
)

_PATROL = inch(29.92, 70, 0.568)

OFFSHORE = Session(
    slug="offshore-v8",
    engine=Engine(
        7660e-6,
        0.10312,
        8,
        9.97,
        PETROL,
        1.0,
        4100,
        fall_below=0.32,
        fall_above=0.75,
        tuning=0.014,
        efficiency=0.75,
        best_spark=31,
        exhaust_base=640,
        exhaust_offsets=(5, -8, 3, -11, 9, 14, -6, -4),
        oil_per_speed=125,
        oil_relief=4.6e5,
        intake_loss=3.2e3,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "RPM", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("power", "Power", "hp", 1),
            Column("fuel_flow", "Fuel", "lb/h", 1),
            Column("air_flow_volume", "Air", "cfm", 1),
            Column("lambda", "Lambda", "", 3),
            Column("spark_advance", "Spark", "deg", 1),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Coolant temp", "degF", 0),
            Column("blow_by", "Blow-by", "cfm", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degF", 0) for i in range(1, 9)),
        ),
        before=("# patrol boat Brent, second engine", "# all readings observed"),
    ),
    noise=Noise(0.003, 0.0015),
    pulls=(
        PullSpec("1-base-map.csv", 2500, 5800, 100, _PATROL, Tune(0.855, lam_slope=-0.03, spark=28)),
        PullSpec("2-map-2.csv", 2500, 5800, 100, _PATROL, Tune(0.86, spark=28), warm=1),
        PullSpec("3-map-3.csv", 2500, 5800, 100, _PATROL, Tune(0.86, spark=30), warm=2),
        PullSpec("4-map-3-again.csv", 2500, 5800, 100, inch(29.91, 73, 0.513), Tune(0.86, spark=30), warm=3),
    ),
)

_LAUNCH_JETS = {"120": Tune(0.965, lam_slope=0.02, spark=30), "125": Tune(0.925, lam_slope=0.015, spark=30)}

_LAUNCH_130 = Tune(0.875, lam_slope=0.01, spark=30)

LAUNCH = Session(
    slug="pilot-launch-four",
    engine=Engine(
        1619.5e-6, 0.0776, 4, 8.99, PETROL, 0.895, 3300, fall_below=0.22, fall_above=0.55, best_spark=30.5,
        exhaust_base=615, oil_relief=4.4e5, exhaust_offsets=(6, -4, 9, -11),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 1),
            Column("power", "Power", "kW", 2),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("lambda", "Lambda", "", 3),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temperature", "°C", 0),
            Column("coolant_temperature", "Coolant temperature", "°C", 0),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "°C", 0) for i in range(1, 5)),
        ),
        delimiter=";",
        decimal=",",
        newline="\r\n",
        encoding="utf-8-sig",
    ),
    pulls=(
        PullSpec("01-jets-120.csv", 1600, 5400, 100, hecto(1012.4, 18.5, 0.64), _LAUNCH_JETS["120"]),
        PullSpec("02-jets-125.csv", 1600, 5400, 100, hecto(1012.4, 18.5, 0.64), _LAUNCH_JETS["125"], warm=1),
        PullSpec("03-jets-130.csv", 1600, 5400, 100, hecto(1012.4, 19.5, 0.61), _LAUNCH_130, warm=2),
        PullSpec("04-jets-130-again.csv", 1600, 5400, 100, hecto(1012.2, 19.8, 0.60), _LAUNCH_130, warm=3),
        *(
            PullSpec(f"{number:02}-timing-{spark}.csv", 1600, 5400, 100, weather,
                     Tune(0.875, lam_slope=0.01, spark=spark), warm=4)
            for number, spark, weather in (
                (5, 24, hecto(1011.9, 20.4, 0.58)),
                (6, 27, hecto(1011.9, 20.6, 0.58)),
                (7, 30, hecto(1011.8, 20.7, 0.57)),
                (8, 33, hecto(1011.8, 20.9, 0.57)),
            )
        ),
        PullSpec("09-as-delivered.csv", 1600, 5400, 100, hecto(1011.6, 21.0, 0.57),
                 Tune(0.875, lam_slope=0.01, spark=30, ve_scale=0.994), warm=4),
    ),
)  # fmt: skip
