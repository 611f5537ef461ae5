"""Dyno sessions of the demonstration archive: engines for road, track and quay."""

from __future__ import annotations

from tests.demo.engine_model import E85, METHANOL, PETROL, RACE_PETROL, Engine, Noise, Tune
from tests.demo.engine_specs import PullSpec, Session, Sweep, din_70020, hecto, inch, sae_j607
from tests.demo.logs import Column, Dialect

SIDECAR = Session(
    slug="grasstrack-sidecar-twin",
    engine=Engine(
        653.9e-6, 0.082, 2, 10.23, RACE_PETROL, 0.985, 5600, fall_below=0.75, fall_above=0.95, tuning=0.02,
        best_spark=35, water_cooled=False,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Speed", "1/min", 0),
            Column("torque", "Torque", "kgf m", 2),
            Column("power", "Power", "PS", 1),
        ),
        delimiter="\t",
        encoding="cp1252",
        newline="\r\n",
        before=("Hired brake, field 3", "Corrected to DIN 70020 at 14 °C and 1006 mbar", ""),
        counter="Line",
    ),
    noise=Noise(0.0055, 0.003),
    pulls=(
        PullSpec("1.txt", 3000, 7000, 100, hecto(1006, 14, 0.71), Tune(0.80, spark=35), to=din_70020),
        PullSpec("2.txt", 3000, 7000, 100, hecto(1006, 14, 0.71), Tune(0.875, spark=35), to=din_70020),
        PullSpec("3.txt", 3000, 7000, 100, hecto(1006, 14, 0.71),
                 Tune(0.88, spark=35, ve_shift=200, ve_scale=1.018), to=din_70020),
        PullSpec("4.txt", 3000, 7000, 100, hecto(1006, 14, 0.71),
                 Tune(0.88, spark=35, ve_shift=200, ve_scale=1.018), to=din_70020),
    ),
)  # fmt: skip

_TRUCK_ONE = inch(29.68, 66, 0.66)

_TRUCK_AS_DELIVERED = Tune(0.875, lam_slope=-0.01, spark=34)

TRUCK = Session(
    slug="breakdown-truck-v8",
    engine=Engine(
        5937e-6, 0.09017, 8, 9.51, PETROL, 0.965, 3400, fall_below=0.22, fall_above=0.62, best_spark=34.5,
        exhaust_base=610, oil_relief=4.1e5, oil_per_speed=110,
        exhaust_offsets=(4, -9, 7, -3, 12, -14, 6, -2),
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "lb-ft", 1),
            Column("power", "Power", "hp", 1),
            Column("fuel_flow", "Fuel flow", "lb/h", 1),
            Column("air_flow_volume", "Air flow", "cfm", 1),
            Column("afr", "AFR", "AFR", 2),
            Column("oil_pressure", "Oil pressure", "psi", 1),
            Column("oil_temperature", "Oil temp", "degF", 0),
            Column("coolant_temperature", "Water temp", "degF", 0),
            Column("manifold_pressure", "MAP", "inHg", 2),
            Column("blow_by", "Blow-by", "cfm", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degF", 0) for i in range(1, 9)),
        ),
        units_in="row",
    ),
    pulls=(
        PullSpec("00-before.csv", 1800, 4800, 100, inch(29.41, 51, 0.78),
                 Tune(0.86, spark=32, ve_scale=0.855, ve_shift=-350, friction=1.12), to=sae_j607),
        PullSpec("01-first.csv", 1800, 5400, 100, _TRUCK_ONE, Tune(0.955, lam_slope=0.02, spark=32)),
        PullSpec("02-72-primary.csv", 1800, 5400, 100, _TRUCK_ONE, Tune(0.875, lam_slope=-0.01, spark=32), warm=2),
        PullSpec("03-72-primary-again.csv", 1800, 5400, 100, inch(29.67, 68, 0.64),
                 Tune(0.875, lam_slope=-0.01, spark=32), warm=3),
        PullSpec("04-72-primary-third.csv", 1800, 5400, 100, inch(29.67, 69, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32), warm=4),
        PullSpec("05-spacer.csv", 1800, 5400, 100, inch(29.66, 70, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32, ve_shift=260, ve_scale=1.006), warm=5),
        PullSpec("06-plug-lead.csv", 1800, 5400, 100, inch(29.66, 70, 0.60),
                 Tune(0.875, lam_slope=-0.01, spark=32, misfire_above=4100), warm=6),
        PullSpec("07-as-delivered.csv", 1800, 5400, 100, inch(29.65, 71, 0.57), _TRUCK_AS_DELIVERED, warm=5),
    ),
)  # fmt: skip

_HILL = inch(30.06, 61, 0.62)

CLIMB = Session(
    slug="climb-special-six",
    engine=Engine(
        4138e-6,
        0.1016,
        6,
        10.15,
        RACE_PETROL,
        0.935,
        3300,
        fall_below=0.30,
        fall_above=0.75,
        tuning=0.018,
        best_spark=32,
    ),
    dialect=Dialect((Column("engine_speed", "rpm", "rpm", 0), Column("power", "power", "hp", 1)), units_in="nowhere"),
    noise=Noise(0.006, 0.003),
    pulls=(
        PullSpec("first.csv", 2000, 5000, 100, _HILL, Tune(0.97, lam_slope=0.02, spark=32)),
        PullSpec("needles.csv", 2000, 5000, 100, _HILL, Tune(0.885, spark=32)),
        PullSpec("trumpets.csv", 2000, 5000, 100, _HILL, Tune(0.89, spark=32, ve_shift=180, ve_scale=1.022)),
    ),
)

_TRACK = hecto(1010.8, 16, 0.55)  # the report's 1021 at sea level, 85 m up

METHANOL_SINGLE = Session(
    slug="methanol-speed-single",
    engine=Engine(
        498.8e-6,
        0.082,
        1,
        13.8,
        METHANOL,
        1.03,
        7200,
        fall_below=0.75,
        fall_above=0.95,
        tuning=0.02,
        efficiency=0.755,
        best_lambda=0.82,
        best_spark=32,
        water_cooled=False,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "1/min", 0),
            Column("torque", "Torque", "N m", 2),
            Column("lambda", "Lambda", "", 3),
        ),
        delimiter=";",
        before=("Test;long track single", "Fuel;methanol"),
    ),
    noise=Noise(0.006, 0.004),
    pulls=(
        PullSpec("1-jet-195.csv", 5000, 10000, 100, _TRACK, Tune(0.93, spark=32)),
        PullSpec("2-jet-205.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("3-jet-215.csv", 5000, 10000, 100, _TRACK, Tune(0.755, spark=32)),
        PullSpec("4-jet-205-again.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("5-jet-205-third.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
        PullSpec("6-jet-205-fourth.csv", 5000, 10000, 100, _TRACK, Tune(0.835, spark=32)),
    ),
)

_SPRINT = hecto(1019.6, 17, 0.49)

E85_FOUR = Session(
    slug="sprint-e85-four",
    engine=Engine(
        1998.6e-6,
        0.086,
        4,
        12.56,
        E85,
        1.055,
        6050,
        fall_below=0.50,
        fall_above=1.15,
        tuning=0.016,
        efficiency=0.728,
        best_lambda=0.86,
        best_spark=31,
        exhaust_base=560,
        exhaust_offsets=(4, -7, 6, -5),
        oil_per_speed=85,
        oil_relief=5.6e5,
    ),
    dialect=Dialect(
        (
            Column("engine_speed", "Engine speed", "rpm", 0),
            Column("torque", "Torque", "Nm", 1),
            Column("power", "Power", "kW", 1),
            Column("fuel_flow", "Fuel flow", "kg/h", 2),
            Column("lambda", "Lambda", "", 3),
            Column("spark_advance", "Spark advance", "deg", 1),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            *(Column(f"exhaust_temperature_{i}", f"EGT {i}", "degC", 0) for i in range(1, 5)),
        ),
    ),
    noise=Noise(0.003, 0.0012),
    pulls=(
        *(
            PullSpec(f"fuel-{level:03}.csv", 2500, 7700, 100, _SPRINT, Tune(round(90 / level, 4), spark=28), warm=2)
            for level in (96, 100, 104, 108, 112)
        ),
        PullSpec("as-delivered.csv", 2500, 7700, 100, _SPRINT, Tune(0.857, spark=30), warm=3),
    ),
)

_SPRING = hecto(1016.3, 18, 0.52)

_LOGGER = Sweep(every=0.1, rise=350, inertia=0.31)

ROADSTER = Session(
    slug="roadster-six",
    engine=Engine(
        2793.6e-6,
        0.084,
        6,
        10.41,
        PETROL,
        0.92,
        4000,
        fall_below=0.26,
        fall_above=0.62,
        tuning=0.014,
        best_spark=32,
        oil_per_speed=95,
        oil_relief=5.0e5,
        intake_loss=4.0e3,
    ),
    dialect=Dialect(
        (
            Column("time", "Time", "s", 1),
            Column("engine_speed", "RPM calc", "", 0),
            Column("torque", "TQ2", "N m", 1),
            Column("lambda", "Lambda", "", 3),
            Column("manifold_pressure", "MAP", "kPa", 1),
            Column("oil_pressure", "Oil pressure", "bar", 2),
            Column("oil_temperature", "Oil temp", "degC", 0),
            Column("coolant_temperature", "Water temp", "degC", 0),
        ),
    ),
    noise=Noise(0.006, 0.002),
    pulls=(
        PullSpec("sweep-1.csv", 1600, 6500, 100, _SPRING, Tune(0.885, spark=31), sweep=_LOGGER),
        PullSpec("sweep-2.csv", 1600, 6500, 100, _SPRING, Tune(0.885, spark=31), sweep=_LOGGER, warm=2),
        PullSpec(
            "sweep-3-no-filter.csv",
            1600,
            6500,
            100,
            _SPRING,
            Tune(0.885, spark=31, ve_scale=1.006),
            sweep=_LOGGER,
            warm=3,
        ),
    ),
)
